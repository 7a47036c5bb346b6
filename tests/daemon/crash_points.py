"""Kills a daemon at every file-system call it makes, one after the other, and judges what the next daemon makes of it.

Run as a program of its own (it forks): `crash_points.py FOLDER SCENE kill STEP [all]` or
`... ERROR STEP [on]`, where STEP 1 takes every point, 2 every other; prints one JSON object.
SQLite does the same ("How SQLite Is Tested", 3: each call fails in turn until the operation runs through).
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import shutil
import subprocess
import sys
import time
import traceback
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from studios import PDF, SIZES, Stub, make_studio, names

from hotfolder.daemon.files import Files, When
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.loop import Daemon
from hotfolder.errors import ConfigError
from hotfolder.loading import load_plugins
from hotfolder.step import Step

HandOver = load_plugins().steps["hand_over"]
KILLED = 137
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
    "changed": Scene({"a.pdf": PDF, "a.ticket.toml": b"pages = 1\n"}, {"a.pdf": "pass"}),
    "changed-across": Scene({"a.pdf": PDF}, {"a.pdf": "pass"}, across=True),
}


class Shim(Files):
    """Does something at the k-th point, or at each from there on."""

    def __init__(
        self, k: int, act: Callable[[str], None], count: Callable[[When, str], bool], on: bool = False
    ) -> None:
        self._left, self._act, self._count, self._on = k, act, count, on
        self.met = ""

    def point(self, when: When, call: str, path: Path) -> None:
        if not self._count(when, call):
            return
        self._left -= 1
        if self._left == 0 or (self._on and self._left < 0):
            self.met = self.met or f"{when} {call} {path.name}"
            self._act(self.met)

    def _flush(self, handle: int) -> None:
        """A killed process loses nothing that was not flushed; only a power cut does."""


class Meddler(Stub):
    """Changes the artwork while it is first worked on, as a program does that still has it open."""

    def run(self, order, heard=None):  # type: ignore[no-untyped-def]
        record = super().run(order, heard)
        if order.original.stat().st_mtime_ns > 10**9:
            os.utime(order.original, ns=(1, 1))
        return record


LOOKS = {"list", "look", "there", "read", "digest"}


def every_point(when: When, call: str) -> bool:
    return True


def after_changes(when: When, call: str) -> bool:
    """The points between which the disk differs: before a call is the same as after the last one that changed it."""
    return when != "before" and call not in LOOKS


def calls(when: When, call: str) -> bool:
    return when == "before"


def die(where: str) -> None:
    os.write(2, where.encode() + b"\n")
    os._exit(KILLED)


def fail_with(number: int) -> Callable[[str], None]:
    def fail(where: str) -> None:
        raise OSError(number, os.strerror(number), where)

    return fail


def lay_out(root: Path, scene: Scene) -> Path:
    # A disk in memory, where there is one, saves the time of syncing; the calls are the same.
    base = (root / "share") if not scene.across else Path("/dev/shm") / f"share-{root.name}"
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


def run(root: Path, base: Path, files: Files, name: str) -> None:
    studio = make_studio(root, elsewhere=base, rescan=0.1, chain=deliveries(base, SCENES[name].to))
    # Pauses between tries pass faster than in earnest.
    runner = Meddler() if name.startswith("changed") else Stub()
    Daemon(
        studio, lambda event: None, runner=runner, files=files, events=False, clock=lambda: time.monotonic() * 10
    ).run(until_idle=True)


def in_child(call: Callable[[], None]) -> int:
    process = os.fork()
    if process == 0:
        code = 0
        try:
            call()
        except BaseException:
            traceback.print_exc()
            code = 1
        os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


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
    ledger.close()
    count = 2 if "two" in artwork else 1
    outcomes = ["hold", "pass"] if outcome == "half" else [outcome] * count
    return [] if found == [("published", each) for each in outcomes] else [f"the ledger has {found}"]


def kill_everywhere(root: Path, name: str, count: Callable[[When, str], bool], step: int) -> dict[str, object]:
    """Kill at point 1, 2, 3 ... until none is met; some also kill the second daemon at another point."""
    scene, bad, k, twice = SCENES[name], [], 0, 0
    while True:
        k += step
        base = lay_out(root, scene)
        code = in_child(lambda k=k, base=base: run(root, base, Shim(k, die, count), name))
        if code == 0:
            break
        if code == KILLED and k % 3 == 0:
            twice += 1
            in_child(lambda k=k, base=base: run(root, base, Shim(7 + k * 13 % 40, die, count), name))
        code = in_child(lambda base=base: run(root, base, Shim(0, die, calls), name)) if code == KILLED else code
        wrong = judge(root, base, scene) if code == 0 else [f"the daemon ended with {code}"]
        bad += [f"point {k}: {each}" for each in wrong]
        if len(bad) > 20:
            break
    shutil.rmtree(base, ignore_errors=True)
    return {"points": k // step, "twice": twice, "bad": bad}


def fail_everywhere(root: Path, name: str, number: int, step: int, *, on: bool) -> dict[str, object]:
    """Let call 1, 2, 3 ... fail with an error number, once or from then on until the daemon is started again."""
    scene, bad, k = SCENES[name], [], 0
    while True:
        k += step
        base = lay_out(root, scene)
        shim = Shim(k, fail_with(number), calls, on)

        def first(shim: Shim = shim, base: Path = base) -> None:
            with contextlib.suppress(ConfigError):  # it may refuse to start; then its next start must do
                run(root, base, shim, name)
            os._exit(3 if shim.met else 0)

        ended = in_child(first)
        if ended == 0:
            break
        if ended != 3:
            bad.append(f"call {k}: the daemon fell over")
        code = in_child(lambda base=base: run(root, base, Shim(0, die, calls), name))
        wrong = judge(root, base, scene) if code == 0 else [f"the daemon ended with {code}"]
        bad += [f"call {k}: {each}" for each in wrong]
        if len(bad) > 20:
            break
    shutil.rmtree(base, ignore_errors=True)
    return {"points": k // step, "bad": bad}


if __name__ == "__main__":
    start = time.monotonic()
    where, scene_name, what, step_text, *more = sys.argv[1:]
    if what == "kill":
        result = kill_everywhere(
            Path(where), scene_name, every_point if "all" in more else after_changes, int(step_text)
        )
    else:
        result = fail_everywhere(Path(where), scene_name, getattr(errno, what), int(step_text), on="on" in more)
    print(json.dumps({**result, "seconds": round(time.monotonic() - start, 1)}, indent=1))
