"""The contract with plugins: every hook, when it is called, in which process, and what a raise means."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pluggy

from hotfolder.job import Job
from hotfolder.record import JobRecord, StepRecord
from hotfolder.step import Register

PROJECT = "hotfolder"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


class Hooks:
    """All hooks. A plugin implements any of them as plain functions marked with `hookimpl`."""

    @hookspec
    def register_steps(self, register: Register) -> None:
        """Name the plugin's steps: call `register(MyStep)` for each.

        Called once at start, in the daemon and again in the process that workers are made from. Describe, don't
        act: no file, no network. A raise stops the start with the plugin's name.
        """

    @hookspec(firstresult=True)
    def read_ticket(self, path: Path) -> dict[str, Any] | None:
        """Read a ticket file that came with artwork; return its keys and values, or None for another's format.

        Called in the job's worker process. ValueError with a sentence (and the line) holds the job; anything else
        is a fault and holds it too.
        """

    @hookspec
    def step_finished(self, job: Job, record: StepRecord) -> None:
        """A step has ended. Called in the job's worker process; look, don't change. A raise is written to the log."""

    @hookspec
    def job_finished(self, record: JobRecord) -> None:
        """A job has its outcome and its files stand in `pass` or `hold`.

        Called in the daemon, once for each job (once more if the daemon was killed right here). Be quick: the next
        job waits. A raise is written to the daemon's own log and changes nothing.
        """
