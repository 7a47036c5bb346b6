"""A studio of its own in the test's folder, and one run of the real daemon over what was dropped."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from hotfolder.config.reader import load_studio
from hotfolder.daemon.events import Event
from hotfolder.daemon.loop import Daemon
from hotfolder.hookspecs import hookimpl
from hotfolder.record import JobRecord

sys.path.insert(0, str(Path(__file__).parent))  # this folder's own helpers

CONFIG = """
rescan = 1
workers = 2
[limits]
seconds = 60
[routes.posters]
watch = "in"
pass = "pass"
hold = "hold"
settle = 0.4
patience = 2
file_names = ["{client}_{title}_{trim}"]
[routes.posters.ticket]
trim = "A3"
bleed = "3mm"
"""


@dataclass
class Ran:
    """What is left after the daemon came to rest: records by the artwork's name, and the folders."""

    folder: Path
    records: list[JobRecord]
    events: list[Event]

    def record(self, name: str) -> JobRecord:
        (found,) = [record for record in self.records if record.file == name]
        return found

    def codes(self, name: str) -> list[str]:
        return [f"{finding.level} {finding.code}" for finding in self.record(name).findings]


class Listener:
    def __init__(self) -> None:
        self.records: list[JobRecord] = []

    @hookimpl
    def job_finished(self, record: JobRecord) -> None:
        self.records.append(record)


@pytest.fixture
def run_studio(tmp_path: Path) -> Callable[[], Ran]:
    """The studio's watched folder is `tmp_path / "in"`; call the fixture when everything is dropped."""
    (tmp_path / "in").mkdir()
    (tmp_path / "studio.toml").write_text(CONFIG, encoding="utf-8")

    def run() -> Ran:
        studio = load_studio(tmp_path / "studio.toml")
        listener, events = Listener(), list[Event]()
        studio.plugins.manager.register(listener)
        Daemon(studio, events.append).run(until_idle=True)
        return Ran(tmp_path, listener.records, events)

    return run
