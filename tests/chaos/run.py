"""Disturbs a daemon in every way for a while, and then says whether anything was lost, doubled or shown by halves.

    python tests/chaos/run.py --seconds 60 --kills 200 --seed 1

Files are dropped in every way people do it; the daemon, its workers and the process these are copied from are killed with
kill -9, at random and at named steps; a watcher looks at `pass` and `hold` without a pause. At the end a last daemon does
what is left, and all is counted. Ends with 1 if anything is wrong; the folder is then kept. Linux only.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from dropper import Dropper
from judge import judge
from place import Place
from shop import STEPS, open_shop
from watcher import watch

from hotfolder.loading import load_plugins

_LAST = 300.0  # seconds for the last daemon


def in_process(call: Callable[[], None]) -> int:
    process = os.fork()
    if process == 0:
        code = 0
        try:
            call()
        except BaseException:
            traceback.print_exc()
            code = 1
        os._exit(code)
    return process


def ended(process: int) -> int | None:
    """How a process of ours ended; None while it runs."""
    found, status = os.waitpid(process, os.WNOHANG)
    return os.waitstatus_to_exitcode(status) if found else None


def wait(process: int, seconds: float) -> int | None:
    end = time.monotonic() + seconds
    while (code := ended(process)) is None and time.monotonic() < end:
        time.sleep(0.01)
    return code


def children(process: int) -> list[int]:
    try:
        return [int(each) for each in Path(f"/proc/{process}/task/{process}/children").read_text().split()]
    except OSError:
        return []


def all_children(process: int) -> list[int]:
    """Of all its threads: worker processes are started from the threads of the jobs."""
    found = []
    for thread in Path(f"/proc/{process}/task").glob("*/children"):
        try:
            found += [int(each) for each in thread.read_text().split()]
        except OSError:
            continue
    return found


class Killer:
    """Lets one daemon live after the other."""

    def __init__(self, place: Place, seed: int, most: int) -> None:
        self.place, self.chance, self.most = place, random.Random(seed), most
        self.kills: Counter[str] = Counter()
        self.wrong: list[str] = []

    def until(self, end: float) -> None:
        while time.time() < end and self.kills.total() < self.most:
            self.one_life(end)

    def one_life(self, end: float) -> None:
        workers = self.chance.random() < 0.12
        step = self.chance.choice(STEPS) if self.chance.random() < 0.5 else None
        count = self.chance.randint(1, 12)
        process = in_process(lambda: open_shop(self.place, workers=workers, step=step, count=count))
        code = self.disturb(process, end) if workers else wait(process, 2.0 if step else self.chance.uniform(0.05, 0.6))
        if code is None:
            os.kill(process, signal.SIGKILL)
            self.kills["daemon, at random"] += 1
            code = os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])
        elif code == -signal.SIGKILL:
            assert step is not None
            self.kills[f"daemon, {step[0]} {step[1]}"] += 1
        if code != -signal.SIGKILL:
            self.wrong.append(f"a daemon ended by itself, with {code}")

    def disturb(self, process: int, end: float) -> int | None:
        """A life with workers: they are killed, too."""
        over = min(time.time() + self.chance.uniform(2, 6), end + 1)
        while time.time() < over and self.kills.total() < self.most:
            if (code := wait(process, 0.005)) is not None:
                return code
            loaded = all_children(process)
            workers = [each for one in loaded for each in children(one)]
            if workers and self.chance.random() < 0.15:
                self.kill(self.chance.choice(workers), "worker")
            elif loaded and self.chance.random() < 0.001:
                self.kill(self.chance.choice(loaded), "the process workers are copied from")
        return None

    def kill(self, process: int, what: str) -> None:
        try:
            os.kill(process, signal.SIGKILL)
        except ProcessLookupError:
            return
        self.kills[what] += 1


def run(place: Place, seconds: float, kills: int, seed: int) -> tuple[list[str], dict[str, object]]:
    place.make()
    load_plugins()  # before the first daemon is copied from us
    end = time.time() + seconds
    watching = in_process(lambda: watch(place))
    dropping = in_process(lambda: Dropper(place, seed).drop_until(end))
    killer = Killer(place, seed, kills)
    killer.until(end)
    while time.time() < end and killer.kills.total() >= kills:  # all kills are done: no more files are needed
        os.kill(dropping, signal.SIGINT)
        break
    if wait(dropping, seconds + 60) is None:
        os.kill(dropping, signal.SIGKILL)
    last = in_process(lambda: open_shop(place, workers=True, until_idle=True))
    code = wait(last, _LAST)
    if code is None:
        os.kill(last, signal.SIGKILL)
    os.kill(watching, signal.SIGTERM)
    os.waitpid(watching, 0)
    wrong = killer.wrong + ([] if code == 0 else [f"the last daemon ended with {code}"])
    found, counts = judge(place)
    return wrong + found, {"kills": killer.kills.total(), **dict(killer.kills), **dict(counts)}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where it takes place; default: a new one, removed if all is well")
    asked = parser.parse_args()
    root = asked.folder or Path(tempfile.mkdtemp(prefix="chaos-"))
    start = time.monotonic()
    wrong, counts = run(Place(root), asked.seconds, asked.kills, asked.seed)
    print(json.dumps({**counts, "seconds": round(time.monotonic() - start), "wrong": wrong[:50]}, indent=1))
    if wrong:
        print(f"The folder is kept: {root}", file=sys.stderr)
        raise SystemExit(1)
    shutil.rmtree(root)


if __name__ == "__main__":
    main()
