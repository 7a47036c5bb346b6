"""A studio to measure in: drops files, runs the real daemon, and tells when each job began and ended."""

from __future__ import annotations

import os
import subprocess
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import psutil

from hotfolder.config.reader import load_studio
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.loop import Daemon

CONFIG = """
rescan = 1
workers = {workers}
[limits]
memory_mb = 4000
[routes.posters]
watch = "in"
pass = "pass"
hold = "hold"
settle = 0.5
patience = 5
[routes.posters.ticket]
trim = "{trim}"
"""


@dataclass
class Measured:
    """Seconds by job from claim to outcome, and the most memory seen, in megabytes."""

    began: dict[str, float] = field(default_factory=dict)
    ended: dict[str, float] = field(default_factory=dict)
    outcomes: list[str] = field(default_factory=list)
    words: list[str] = field(default_factory=list)  # the reason of each outcome
    worker_mb: float = 0.0  # of the largest single worker
    daemon_mb: list[float] = field(default_factory=list)  # of the daemon itself, at each outcome

    @property
    def seconds(self) -> list[float]:
        return [self.ended[job] - self.began[job] for job in self.ended]

    @property
    def span(self) -> float:
        return max(self.ended.values()) - min(self.began.values())


def run_studio(
    drop: Callable[[Path], None], *, trim: str = "24x36in", workers: int = 2, warm: bool = False
) -> Measured:
    """Make a studio in a temporary folder, call `drop` with its watched folder, run the daemon until idle.

    `warm`: drop one file only when the daemon has been up for some seconds.
    """
    measured = Measured()
    with tempfile.TemporaryDirectory(prefix="hotfolder-bench-") as name, _watched_workers(measured):
        folder = Path(name)
        (folder / "in").mkdir()
        (folder / "studio.toml").write_text(CONFIG.format(workers=workers, trim=trim), encoding="utf-8")

        def heard(event: Event) -> None:
            if event.what is What.STARTED:
                measured.began[event.job] = time.perf_counter()
            elif event.what is What.FINISHED:
                measured.ended[event.job] = time.perf_counter()
                measured.outcomes.append(event.outcome)
                measured.words.append(event.words)
                measured.daemon_mb.append(psutil.Process().memory_info().rss / 1e6)

        daemon = Daemon(load_studio(folder / "studio.toml"), heard)
        if not warm:
            drop(folder / "in")
            daemon.run(until_idle=True)
            return measured
        # A daemon that has been up for a while: its workers' mother has loaded everything when the file arrives.
        thread = threading.Thread(target=daemon.run)
        thread.start()
        time.sleep(4)
        drop(folder / "in")
        while not measured.ended:
            time.sleep(0.05)
        daemon.stop()
        thread.join()
    return measured


@contextmanager
def _watched_workers(measured: Measured) -> Iterator[None]:
    """Look at the memory of every process below this one, ten times a second."""
    done = threading.Event()

    def look() -> None:
        while not done.wait(0.1):
            for child in psutil.Process().children(recursive=True):
                try:
                    measured.worker_mb = max(measured.worker_mb, child.memory_info().rss / 1e6)
                except psutil.NoSuchProcess:
                    continue

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


def run_apart(*command: str) -> tuple[float, float]:
    """Wall seconds and peak megabytes of a command run as a process of its own."""
    start = time.perf_counter()
    process = subprocess.Popen(command)
    _, status, usage = os.wait4(process.pid, 0)
    assert status == 0, command
    return time.perf_counter() - start, usage.ru_maxrss / 1024
