"""Takes damaged files through the whole chain, each in the daemon's own confined worker, and says what broke its word.

    .venv/bin/python tests/fuzz/fuzz.py --seed 1 --minutes 10 [--count 500] [--folder ../shared/corpus/stress] [--keep KEPT]

For each file: an outcome, with a reason; no work past the limits; and what passes opens in a reader that did not make it.
What kills a worker is told as a held job, and is listed here all the same; so is each fault in a step, and each file that
took what the limits allow. The same seed makes the same files.
"""

from __future__ import annotations

import argparse
import datetime as dt
import io
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import warnings
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from pdfminer.pdfpage import PDFPage
from seeds import every

from hotfolder.config.builtin import builtin_studio
from hotfolder.config.studio import Limits, Studio
from hotfolder.daemon.runner import Runner
from hotfolder.finding import Outcome
from hotfolder.record import JobRecord
from hotfolder.step import Step
from hotfolder.work import LOG, RESULT, Order

LIMITS = Limits(seconds=60, memory_mb=1000, disk_mb=1000)
#: What the runner may need beyond the limit to end a worker and write its record, on a busy machine.
GRACE = 45.0
BATCH = 100
#: Only what changes artwork, so that a check that holds it does not spare the rest.
CHANGING = ("open_pdf", "open_picture", "drop_hidden", "flatten_layers", "fit_page", "make_bleed", "reduce_pictures", "convert_colour", "thicken_lines", "set_overprint", "add_marks", "seal_pdf", "verify_result")  # fmt: skip
CODES = ("fault", "worker_died", "too_slow", "too_much_memory", "too_much_disk")
FOLDER = Path(__file__).parents[3] / "shared" / "corpus" / "stress"


@dataclass
class Tally:
    """What came of all files."""

    count: Counter[str] = field(default_factory=Counter)
    told: Counter[str] = field(default_factory=Counter)  # why, in short
    broken: list[str] = field(default_factory=list)  # promises that were not kept


def chains(studio: Studio) -> tuple[tuple[Step, ...], ...]:
    return studio.routes[0].chain, tuple(studio.plugins.steps[name]() for name in CHANGING)


def order(path: Path, out: Path, chain: tuple[Step, ...], studio: Studio) -> Order:
    out.mkdir()
    return Order(
        job="20260101-120000-abc123", route="fuzz", name=path.name, subfolder="", original=path, ticket_files=(), out=out,
        arrived=dt.datetime.now(dt.UTC), attempt=1, chain=chain, ticket={"bleed": "3mm", "least_ppi": 1}, file_names=(),
        subfolders="", conditions=studio.conditions, condition=studio.condition,
    )  # fmt: skip


def opens_elsewhere(path: Path) -> str:
    """Empty where another reader draws every page, else what it says: poppler where it is, else pdfminer counts pages."""
    if shutil.which("pdftoppm"):
        done = subprocess.run(
            ["pdftoppm", "-r", "10", "-png", path, path.with_suffix("")], capture_output=True, timeout=300, check=False
        )
        drawn = list(path.parent.glob("result-*.png"))
        return "" if done.returncode == 0 and drawn else f"poppler draws nothing: {done.stderr[-200:]!r}"
    return "" if sum(1 for _ in PDFPage.get_pages(io.BytesIO(path.read_bytes()))) else "pdfminer finds no page"


def promises(record: JobRecord, out: Path, seconds: float) -> Iterator[str]:
    """Each promise that this job did not keep."""
    if record.outcome not in (Outcome.PASS, Outcome.HOLD):
        yield "no outcome"
    if record.outcome is Outcome.HOLD and not record.reason:
        yield "held without a reason"
    if seconds > LIMITS.seconds * 2 + GRACE:  # a worker that dies is tried twice
        yield f"took {seconds:.0f} s"
    if not (out / LOG).is_file():
        yield "no log"
    if record.outcome is Outcome.PASS and (words := opens_elsewhere(out / RESULT)):
        yield words


def brief(record: JobRecord, out: Path) -> str:
    """Which fault, in a few words, so that like ones count as one."""
    for step in record.steps:
        if step.trace:
            lines = step.trace.strip().split("\n")
            places = [line.strip() for line in lines if line.strip().startswith("File ") and "hotfolder" in line]
            return f"{step.step}: {lines[-1][:110]} | {places[-1][-90:] if places else ''}"
    code = next((finding.code for finding in record.findings if finding.code in CODES), "")
    if code == "worker_died":
        log = (out / LOG).read_text(errors="replace")
        frames = [word for word in log.split('File \\"') if "line" in word] or [log[-300:]]
        return f"{code}: {'SIGSEGV' if 'SIGSEGV' in log else ''} {frames[0][:140]}"
    return code


def one(runner: Runner, studio: Studio, name: str, data: bytes, number: int, keep: Path | None, tally: Tally) -> None:
    with tempfile.TemporaryDirectory(prefix="hotfolder-fuzz-") as room:
        path = Path(room) / f"{number}-{name}"
        path.write_bytes(data)
        out = Path(room) / "out"
        started = time.monotonic()
        record = runner.run(order(path, out, chains(studio)[number % 2], studio))
        broken = list(promises(record, out, time.monotonic() - started))
        code = next((finding.code for finding in record.findings if finding.code in CODES), "")
        tally.count[code or str(record.outcome)] += 1
        if code:
            tally.told[brief(record, out)] += 1
        tally.broken += [f"{path.name}: {words}" for words in broken]
        if keep is not None and (code or broken):
            keep.mkdir(parents=True, exist_ok=True)
            shutil.copy(path, keep / f"{code or 'broken'}-{path.name}")
            shutil.copy(out / LOG, keep / f"{code or 'broken'}-{path.name}.log")


def made(seed: int, files: dict[str, bytes], room: Path) -> Iterator[tuple[int, Path]]:
    """Damaged files, without end. Made by processes of their own: what damages may fall over what is damaged, too."""
    stock = room / "stock"
    stock.mkdir()
    for name, data in files.items():
        (stock / name).write_bytes(data)
    number = 0
    while True:
        folder = room / f"from-{number}"
        folder.mkdir()
        command = [
            sys.executable,
            Path(__file__).with_name("make.py"),
            str(seed),
            str(number),
            str(BATCH),
            stock,
            folder,
        ]
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as maker:
            for at in range(number, number + BATCH):
                path = folder / f"{at}.made"
                while not path.exists() and maker.poll() is None:
                    time.sleep(0.01)
                if path.exists():
                    yield at, path
                elif maker.poll() not in (0, None):
                    break
        number = at + 1


def run(seed: int, *, minutes: float, count: int, folder: Path | None, keep: Path | None, workers: int) -> Tally:
    studio, tally = builtin_studio(), Tally()
    files = every(folder)
    end = time.monotonic() + minutes * 60
    runner = Runner((), LIMITS, studio.used_conditions)
    free = threading.Semaphore(workers * 2)

    def work(number: int, path: Path) -> None:
        try:
            name, _, data = path.read_bytes().partition(b"\n")
            one(runner, studio, name.decode(), data, number, keep, tally)
        except Exception as error:  # the runner's promise is that nothing gets out of it
            tally.broken.append(f"{number}: {type(error).__name__}: {error}")
        finally:
            path.unlink()
            free.release()
        if sum(tally.count.values()) % 50 == 0:
            print(dict(tally.count), len(tally.broken), "broken", flush=True)

    try:
        with tempfile.TemporaryDirectory() as room, ThreadPoolExecutor(workers) as pool:
            for number, path in made(seed, files, Path(room)):
                free.acquire()
                if number >= count or time.monotonic() > end:
                    break
                pool.submit(work, number, path)
    finally:
        runner.close()
    return tally


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--minutes", type=float, default=10)
    asked.add_argument("--count", type=int, default=1_000_000)
    asked.add_argument("--folder", type=Path, default=FOLDER, help="files to damage beside our own")
    asked.add_argument("--keep", type=Path, help="where files are kept over which something broke")
    asked.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    given = asked.parse_args()
    warnings.simplefilter("ignore")
    tally = run(
        given.seed,
        minutes=given.minutes,
        count=given.count,
        folder=given.folder,
        keep=given.keep,
        workers=given.workers,
    )
    print(sum(tally.count.values()), "files:", dict(tally.count))
    for words, times in tally.told.most_common():
        print(f"{times:5}  {words}")
    for words in tally.broken:
        print("BROKEN", words)
    return 1 if tally.broken else 0


if __name__ == "__main__":
    sys.exit(main())
