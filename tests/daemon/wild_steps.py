"""A plugin whose step does what the artwork's name says: everything that must not hurt the daemon."""

from __future__ import annotations

import ctypes
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

from hotfolder import plugin


def crash() -> None:
    ctypes.string_at(0)


def loop() -> None:
    while True:
        pass


def eat() -> None:
    kept = []
    while True:
        kept.append(b"x" * 10_000_000 + os.urandom(1))


def leave_a_process() -> None:
    if os.fork() == 0:
        os.setsid()
        Path(os.environ["LEFT"]).write_text(str(os.getpid()))
        time.sleep(1000)
        os._exit(0)


def leave_a_thread() -> None:
    import threading

    threading.Thread(target=time.sleep, args=(1000,)).start()


def flood() -> None:
    for _ in range(1000):
        print("x" * 10_000)
        os.write(2, b"y" * 10_000)
    os._exit(9)


def crash_once() -> None:
    try:
        Path(os.environ["ONCE"]).touch(exist_ok=False)
    except FileExistsError:
        return
    os.kill(os.getpid(), signal.SIGKILL)


DEEDS: dict[str, Callable[[], object]] = {
    "exit": lambda: os._exit(3),
    "crash": crash,
    "loop": loop,
    "sleep": lambda: time.sleep(1000),
    "eat": eat,
    "huge": lambda: bytearray(100 << 30),
    "raise": lambda: 1 / 0,
    "quit": lambda: exec("raise SystemExit"),
    "end the parent": lambda: os.kill(os.getppid(), signal.SIGKILL),
    "leave a process": leave_a_process,
    "leave a thread": leave_a_thread,
    "flood": flood,
    "crash once": crash_once,
    "close everything": lambda: os.closerange(0, 1000),
    "good": lambda: None,
}


class RunWild(plugin.Opener):
    """Opens nothing."""

    name = "run_wild"

    @classmethod
    def recognises(cls, head: bytes) -> str:
        return "wild"

    def run(self, job: plugin.Job) -> None:
        DEEDS[job.name.split(".")[0]]()
        job.hold("fine", "It came to its end.")


@plugin.hookimpl
def register_steps(register: Callable[[type[plugin.Step]], None]) -> None:
    register(RunWild)
