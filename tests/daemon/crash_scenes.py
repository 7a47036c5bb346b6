"""What is dropped into a daemon's folders by the tests that stop it in the middle, and how it all must look in the end."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import time
import zipfile
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from studios import PDF, SIZES, Stub, make_studio, names

from hotfolder.daemon.files import Files
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.loop import Daemon
from hotfolder.loading import load_plugins
from hotfolder.step import Step

HandOver = load_plugins().steps["hand_over"]
OLD = b"somebody's earlier file"
FOLDERS = ("pass", "hold")


@dataclass
class Scene:
    """What is dropped, what stands in the way, and on how many file systems it all lies."""

    drops: dict[str, bytes]
    outcome: dict[str, str]  # artwork -> pass or hold
    taken: dict[str, bytes] = field(default_factory=dict)  # files already in pass or hold
    across: bool = False
    to: tuple[str, ...] = ()  # where passed jobs are sent on to, below where it all lies


SCENES = {
    "pass": Scene({"a.pdf": PDF, "a.ticket.toml": b"pages = 1\n"}, {"a.pdf": "pass"}),
    "hold": Scene({"bad.pdf": PDF, "bad.ticket.toml": b"pages = 1\n"}, {"bad.pdf": "hold"}, {"hold/bad.log": OLD}),
    "across": Scene({"bad.pdf": PDF, "bad.ticket.toml": b"pages = 1\n"}, {"bad.pdf": "hold"}, across=True),
    "across-pass": Scene({"a.pdf": PDF}, {"a.pdf": "pass"}, {"pass/a.pdf": OLD}, across=True),
    "two": Scene({"two.pdf": PDF, "two.ticket.toml": b"pages = 1\n"}, {"two.pdf": "pass"}, {"pass/two_A3.pdf": OLD}),
    "two-bad": Scene({"two-bad.pdf": PDF, "two-bad.ticket.toml": b"pages = 1\n"}, {"two-bad.pdf": "hold"}),
    "two-half": Scene(
        {"two-half.pdf": PDF, "two-half.ticket.toml": b"pages = 1\n"},
        {"two-half.pdf": "half"},
        {"hold/two-half.pdf": OLD},
    ),
    "two-half-across": Scene({"two-half.pdf": PDF}, {"two-half.pdf": "half"}, across=True),
    "sent": Scene({"a.pdf": PDF}, {"a.pdf": "pass"}, {"zips/a.zip": OLD}, to=("zips", "flat", "far")),
    "sent-across": Scene({"two.pdf": PDF}, {"two.pdf": "pass"}, across=True, to=("zips", "flat")),
    "sent-near": Scene({"a.pdf": PDF}, {"a.pdf": "pass"}, {"zips/a.zip": OLD}, to=("zips", "flat")),
    "sent-half": Scene({"two-half.pdf": PDF}, {"two-half.pdf": "half"}, to=("zips", "far")),
    "changed": Scene({"a.pdf": PDF, "a.ticket.toml": b"pages = 1\n"}, {"a.pdf": "pass"}),
    "changed-across": Scene({"a.pdf": PDF}, {"a.pdf": "pass"}, across=True),
}


class Meddler(Stub):
    """Changes the artwork while it is first worked on, as a program does that still has it open."""

    def run(self, order, heard=None):  # type: ignore[no-untyped-def]
        record = super().run(order, heard)
        if order.original.stat().st_mtime_ns > 10**9:
            os.utime(order.original, ns=(1, 1))
        return record


def lay_out(root: Path, scene: Scene) -> Path:
    # A disk in memory, where there is one, saves the time of syncing; the calls are the same.
    base = (root / "share") if not scene.across else Path("/dev/shm") / f"share-{os.getpid()}"
    shutil.rmtree(root, ignore_errors=True)
    shutil.rmtree(base, ignore_errors=True)
    for folder in ("in", *FOLDERS, *scene.to):
        (base / folder).mkdir(parents=True)
    root.mkdir(exist_ok=True)
    for name, data in scene.taken.items():
        (base / name).write_bytes(data)
    for name, data in scene.drops.items():
        (base / "in" / name).write_bytes(data)
    return base


def make_daemon(root: Path, base: Path, files: Files, name: str) -> Daemon:
    studio = make_studio(root, elsewhere=base, rescan=0.02, chain=deliveries(base, SCENES[name].to))
    runner = Meddler() if name.startswith("changed") else Stub()
    # Pauses between tries pass faster than in earnest.
    clock = lambda: time.monotonic() * 100  # noqa: E731
    return Daemon(studio, lambda event: None, runner=runner, files=files, events=False, clock=clock)


def run(root: Path, base: Path, files: Files, name: str) -> None:
    make_daemon(root, base, files, name).run(until_idle=True)


def at_rest(root: Path, base: Path) -> bool:
    """Whether a daemon at work has nothing left to do, as far as the folders show."""
    spool = root / "spool"
    homes = list((spool / "done").iterdir()) if (spool / "done").is_dir() else []
    return (
        bool(homes)
        and all((home / "published.json").exists() for home in homes)
        and not any(names(folder) for folder in (base / "in", spool / "work", spool / "handing"))
    )


def judge(root: Path, base: Path, scene: Scene) -> list[str]:
    """Everything that is not as it must be once a daemon has run through."""
    wrong = []
    if names(base / "in"):
        wrong.append(f"left in the watched folder: {names(base / 'in')}")
    if names(root / "spool" / "work") or names(root / "spool" / "damaged"):
        wrong.append(f"left in the spool: {names(root / 'spool' / 'work')} {names(root / 'spool' / 'damaged')}")
    if scene.to:
        wrong += judge_deliveries(root, base, scene)
    wrong += [f"overwritten: {name}" for name, data in scene.taken.items() if (base / name).read_bytes() != data]
    for artwork, outcome in scene.outcome.items():
        wrong += judge_one(root, base, scene, artwork, outcome)
    for folder in ("pass", "hold"):
        wrong += [f"half-visible: {name}" for name in names(base / folder) if name.startswith(".")]
    for folder in scene.to:
        wrong += [f"half-visible: {name}" for name in names(base / folder) if name.startswith(".")]
    return wrong


def deliveries(base: Path, to: tuple[str, ...]) -> tuple[Step, ...]:
    """As zips, file by file, and as if to another machine."""
    settings = {
        "zips": {"to": [str(base / "zips")]},
        "flat": {"to": [str(base / "flat")], "form": "files"},
        "far": {"to": [f"file://{base}/far"], "form": "files", "log": True},
    }
    return tuple(HandOver(HandOver.Settings(**settings[each])) for each in to)


def judge_deliveries(root: Path, base: Path, scene: Scene) -> list[str]:
    """Each parcel has arrived once and whole, and nothing of it is left in the spool."""
    wrong = [f"left in the spool: {name}" for name in names(root / "spool" / "handing")]
    stems = [name.removesuffix(".pdf") for name in names(base / "pass") if name.endswith(".pdf")]
    number = "-2" if "zips/a.zip" in scene.taken else ""
    want = {
        "zips": [f"{stem}{number}.zip" for stem in stems]
        + [name[5:] for name in scene.taken if name.startswith("zips")],
        "flat": [f"{stem}{ending}" for stem in stems for ending in (".pdf", ".report.html", ".sha256")],
        "far": [f"{stem}{ending}" for stem in stems for ending in (".log", ".pdf", ".report.html", ".sha256")],
    }
    for folder in scene.to:
        if names(base / folder) != sorted(want[folder]):
            wrong.append(f"in {folder}: {names(base / folder)}, wanted {sorted(want[folder])}")
    for stem in stems if not wrong else ():
        data = (base / "pass" / f"{stem}.pdf").read_bytes()
        with zipfile.ZipFile(base / "zips" / f"{stem}{number}.zip") as bundle:
            if bundle.testzip() or bundle.read(f"{stem}{number}.pdf") != data:
                wrong.append("the zip is not whole")
        for folder in scene.to[1:]:
            checked = subprocess.run(
                ["sha256sum", "-c", "--quiet", f"{stem}.sha256"], cwd=base / folder, capture_output=True, check=False
            )
            if checked.returncode or (base / folder / f"{stem}.pdf").read_bytes() != data:
                wrong.append(f"{folder} is not whole: {checked.stdout!r}")
    return wrong


def judge_one(root: Path, base: Path, scene: Scene, artwork: str, outcome: str) -> list[str]:
    tickets = {name: text for name, text in scene.drops.items() if name != artwork}
    want = wanted(scene, artwork, outcome, tickets)
    if outcome != "hold":
        homes = list((root / "spool" / "done").iterdir())
        have = {path.name: path.read_bytes() for home in homes for path in home.glob("[ot][ri]*/*.*") if path.is_file()}
        kept = {name: text for name, text in have.items() if name not in ("record.json",)}
        if kept != {artwork: scene.drops[artwork], **tickets}:
            return [f"the original is not kept whole: {sorted(kept)}"]
    there = {f"{folder}/{path.name}": path.read_bytes() for folder in FOLDERS for path in (base / folder).iterdir()}
    earlier = {name: data for name, data in scene.taken.items() if name.split("/")[0] in FOLDERS}
    wrong = [] if there == {**want, **earlier} else [f"pass and hold: {sorted(there)}, wanted {sorted(want)}"]
    return wrong + judge_ledger(root, artwork, outcome)


def wanted(scene: Scene, artwork: str, outcome: str, tickets: dict[str, bytes]) -> dict[str, bytes]:
    """What has to stand in pass and hold: `half` means that the first size passed and the second is held."""
    data, stem = scene.drops[artwork], artwork.split(".")[0]
    digest = hashlib.sha256(data).hexdigest()
    sizes = [f"_{size}" for size in SIZES] if "two" in artwork else [""]
    outcomes = ["pass", "hold"] if outcome == "half" else [outcome] * len(sizes)
    number = {folder: "-2" if any(name.startswith(folder) for name in scene.taken) else "" for folder in FOLDERS}
    want: dict[str, bytes] = {}
    for size, its in zip(sizes, outcomes, strict=True):
        name = f"pass/{stem}{size}{number['pass']}" if its == "pass" else f"hold/{stem}{number['hold']}{size}"
        want[f"{name}.log"] = f"log of {digest}\n".encode()
        want[f"{name}.report.html"] = f"report of {digest}\n".encode()
        if its == "pass":
            want[f"{name}.pdf"] = b"result of " + data + size.encode()
    if "hold" in outcomes:
        want[f"hold/{stem}{number['hold']}.pdf"] = data
        want |= {f"hold/{name.replace(stem, stem + number['hold'])}": text for name, text in tickets.items()}
    return want


def judge_ledger(root: Path, artwork: str, outcome: str) -> list[str]:
    """The ledger knows each job once, with its outcome."""
    ledger = Ledger(root / "spool" / "ledger.sqlite")
    found = sorted((entry.state, str(entry.outcome)) for entry in ledger.entries())
    ledger_hand_overs = ledger.hand_overs()
    ledger.close()
    if ledger_hand_overs:
        return [f"the ledger says that {len(ledger_hand_overs)} deliveries have not arrived"]
    count = 2 if "two" in artwork else 1
    outcomes = ["hold", "pass"] if outcome == "half" else [outcome] * count
    return [] if found == [("published", each) for each in outcomes] else [f"the ledger has {found}"]
