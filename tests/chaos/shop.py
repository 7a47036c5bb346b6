"""The daemon that is killed: a real one, which may also be told to die at a named step of its work."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import signal
from collections.abc import Callable
from pathlib import Path

from place import Place

from hotfolder import work
from hotfolder.config.reader import load_studio
from hotfolder.daemon.files import Files, When
from hotfolder.daemon.loop import Daemon
from hotfolder.finding import Finding, Level, Outcome
from hotfolder.job import file_digest
from hotfolder.names import safe_stem
from hotfolder.record import JobRecord
from hotfolder.work import Order

#: Where it may be told to die.
STEPS: list[tuple[When, str]] = [
    ("after", "rename"), ("inside", "write"), ("after", "replace"), ("after", "unlink"), ("after", "rmdir"),
    ("before", "ledger"), ("after", "ledger"), ("after", "mkdir"), ("before", "sync"), ("before", "digest"),
]  # fmt: skip


class Deadly(Files):
    """Ends the process without warning at the n-th of these points."""

    def __init__(self, step: tuple[When, str], count: int) -> None:
        self._step, self._left = step, count

    def point(self, when: When, call: str, path: Path) -> None:
        if (when, call) == self._step:
            self._left -= 1
            if self._left == 0:
                os.kill(os.getpid(), signal.SIGKILL)


class AtOnce:
    """Does jobs without a process of their own: so a daemon is ready, and may be killed, in a few hundredths of a second."""

    def run(self, order: Order, heard: Callable[[str], None] | None = None) -> JobRecord:
        held = "bad" in order.name
        record = JobRecord(
            job=order.job,
            file=order.name,
            route=order.route,
            arrived=order.arrived,
            finished=dt.datetime.now(dt.UTC),
            outcome=Outcome.HOLD if held else Outcome.PASS,
            bytes=order.original.stat().st_size,
            digest=file_digest(order.original),
            attempt=order.attempt,
            findings=[Finding(code="marked", level=Level.HOLD, message="Bad.")] if held else [],
            result_stem=safe_stem(Path(order.name).stem),
        )
        if not held:
            shutil.copy(order.original, order.out / work.RESULT)
            record.result_digest = file_digest(order.out / work.RESULT)
        (order.out / work.LOG).write_text(f"job {record.job}\n")
        (order.out / work.REPORT).write_text(f"<p>job {record.job}</p>\n")
        (order.out / work.RECORD).write_text(record.model_dump_json())
        return record


def open_shop(
    place: Place, *, workers: bool, step: tuple[When, str] | None = None, count: int = 0, until_idle: bool = False
) -> None:
    """Run the daemon; `workers`: with its worker processes. Ends when it is killed, or when all is done."""
    files = Deadly(step, count) if step else Files()
    runner = None if workers else AtOnce()
    Daemon(load_studio(place.config), lambda event: None, runner=runner, files=files).run(until_idle=until_idle)
