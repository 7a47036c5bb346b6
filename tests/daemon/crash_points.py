"""Kills a daemon at every file-system call it makes, one after the other, and judges what the next daemon makes of it.

Run as a program of its own (it forks): `crash_points.py FOLDER SCENE WHAT [STEP] [ERROR]`, where STEP 1 takes every point, 2
every other; prints one JSON object. WHAT is one of

    kill     die after each call that changes something, and in the middle of each that writes
    once     the call fails with ERROR, one time
    healed   it fails with ERROR, and so do the next forty; the same daemon has to make good by itself
    on       it fails with ERROR, and so does every other until the daemon is started again
    lied     the call is done, but ERROR is reported, as by a network file system whose reply was lost
    syscall-kill, syscall-once    the same at each system call for the ledger; needs each_call.c before the C library

`links` at the end: on a file system that can't rename without replacing.
SQLite does the same ("How SQLite Is Tested", 3: each call fails in turn until the operation runs through).
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import faulthandler
import json
import os
import shutil
import sqlite3
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parent))

from crash_scenes import SCENES, at_rest, judge, lay_out, make_daemon, run

from hotfolder.daemon.files import Files, When
from hotfolder.errors import ConfigError

KILLED, MET, LATE = 137, 3, 4
DIE_BEFORE, DIE_INSIDE = -1, -2  # as in each_call.c
HEALS_AFTER = 40
HANGS_AFTER = 60  # seconds
LOOKS = {"list", "look", "there", "read", "digest"}
Act = Callable[[str], None]


class Shim(Files):
    """Does something at the k-th point, and at `more` after it."""

    def __init__(self, k: int, act: Act, count: Callable[[When, str], bool], more: float = 0) -> None:
        self._left, self._act, self._count, self._more = k, act, count, more
        self.met = ""

    def point(self, when: When, call: str, path: Path) -> None:
        if not self._count(when, call):
            return
        self._left -= 1
        if self._left == 0 or (self._left < 0 and -self._left <= self._more):
            self.met = self.met or f"{when} {call} {path.name}"
            try:
                self._act(self.met)
            except OSError as error:
                if call == "ledger":
                    raise sqlite3.OperationalError(error.strerror) from None
                raise

    def _flush(self, handle: int) -> None:
        """A killed process loses nothing that was not flushed; only a power cut does (power_loss.py)."""
        self.point("before", "flush", Path())


class Links(Shim):
    """Where a file can't be renamed without replacing: two names for an instant do instead."""

    _no_replace = None


def after_changes(when: When, call: str) -> bool:
    """The points between which the disk differs: before a call is the same as after the last one that changed it."""
    return when != "before" and call not in LOOKS


def done(when: When, call: str) -> bool:
    return when == "after"


def calls(when: When, call: str) -> bool:
    return when != "after"


def die(where: str) -> None:
    os.write(2, where.encode(errors="replace") + b"\n")
    os._exit(KILLED)


def fail_with(number: int) -> Act:
    def fail(where: str) -> None:
        raise OSError(number, os.strerror(number), where)

    return fail


def in_child(call: Callable[[], None]) -> int:
    process = os.fork()
    if process == 0:
        code = 0
        faulthandler.dump_traceback_later(HANGS_AFTER, exit=True)
        try:
            call()
        except BaseException:
            traceback.print_exc()
            code = 1
        os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


class Trial:
    """One scene, begun anew for each point."""

    def __init__(self, root: Path, name: str, kind: type[Shim] = Shim) -> None:
        self.root, self.name, self.scene, self.kind = root, name, SCENES[name], kind
        self.bad: list[str] = []
        self.twice = 0

    def begin(self) -> None:
        self.base = lay_out(self.root, self.scene)

    def child(self, shim: Files) -> int:
        return in_child(lambda: run(self.root, self.base, shim, self.name))

    def judge(self, where: str) -> None:
        """What a daemon makes of it that nothing happens to."""
        code = self.child(self.kind(0, die, calls))
        wrong = judge(self.root, self.base, self.scene) if code == 0 else [f"the daemon ended with {code}"]
        self.bad += [f"{where}: {each}" for each in wrong]

    def end(self) -> None:
        shutil.rmtree(self.base, ignore_errors=True)
        shutil.rmtree(self.root, ignore_errors=True)


def steps(trial: Trial, step: int) -> Iterator[int]:
    k = 0
    while len(trial.bad) <= 20:
        k += step
        trial.begin()
        yield k


def kill(trial: Trial, step: int) -> int:
    """Kill at point 1, 2, 3 ... until none is met; some also kill the second daemon at another point."""
    for k in steps(trial, step):
        code = trial.child(trial.kind(k, die, after_changes))
        if code == 0:
            break
        if code != KILLED:
            trial.bad.append(f"point {k}: the daemon ended with {code}")
        if k % 3 == 0:
            trial.twice += 1
            trial.child(trial.kind(7 + k * 13 % 40, die, after_changes))
        trial.judge(f"point {k}")
    return k // step


def fail(trial: Trial, step: int, number: int, what: str) -> int:
    """Let call 1, 2, 3 ... fail."""
    more = {"healed": HEALS_AFTER, "on": float("inf")}.get(what, 0)
    for k in steps(trial, step):
        shim = trial.kind(k, fail_with(number), done if what == "lied" else calls, more)
        ended = in_child(lambda shim=shim: first(trial, shim, what))  # type: ignore[misc]
        if ended == 0:
            break
        if ended == LATE:
            trial.bad.append(
                f"call {k}: the daemon did not make good by itself: {judge(trial.root, trial.base, trial.scene)}"
            )
        elif ended != MET:
            trial.bad.append(f"call {k}: the daemon fell over")
        trial.judge(f"call {k}")
    return k // step


def first(trial: Trial, shim: Shim, what: str) -> None:
    """The daemon to which it happens."""
    daemon = make_daemon(trial.root, trial.base, shim, trial.name)
    late = []

    def watch() -> None:
        end = time.monotonic() + 20
        while time.monotonic() < end and not (
            at_rest(trial.root, trial.base) and (not shim.met or not judge(trial.root, trial.base, trial.scene))
        ):
            time.sleep(0.02)
        late.append(time.monotonic() >= end)
        daemon.stop()

    if what == "healed":
        threading.Thread(target=watch, daemon=True).start()
    with contextlib.suppress(ConfigError):  # it may refuse to start; then its next start must do
        daemon.run(until_idle=what != "healed")
        if shim.met and what == "healed" and (any(late) or judge(trial.root, trial.base, trial.scene)):
            os._exit(LATE)
    os._exit(MET if shim.met else 0)


def each_syscall(trial: Trial, step: int, do: int) -> int:
    """At each system call that changes the ledger's files."""
    library = ctypes.CDLL(None)
    for k in steps(trial, step):

        def armed(k: int = k) -> None:
            library.each_call_arm(b"ledger.sqlite", k, do, 0)
            with contextlib.suppress(ConfigError):
                run(trial.root, trial.base, trial.kind(0, die, calls), trial.name)
            os._exit(MET if library.each_call_met() else 0)

        code = in_child(armed)
        if code == 0:
            break
        if code not in (-9, MET):
            trial.bad.append(f"system call {k}: the daemon fell over")
        trial.judge(f"system call {k}")
    return k // step


def main(arguments: list[str]) -> None:
    start = time.monotonic()
    where, name, what, step, *more = arguments
    trial = Trial(Path(where), name, Links if "links" in more else Shim)
    number = getattr(errno, more[0]) if more and more[0] != "links" else 0
    if what == "kill":
        points = kill(trial, int(step))
    elif what.startswith("syscall"):
        points = each_syscall(trial, int(step), number or DIE_INSIDE)
    else:
        points = fail(trial, int(step), number, what)
    trial.end()
    seconds = round(time.monotonic() - start, 1)
    print(json.dumps({"points": points, "twice": trial.twice, "bad": trial.bad, "seconds": seconds}, indent=1))


if __name__ == "__main__":
    main(sys.argv[1:])
