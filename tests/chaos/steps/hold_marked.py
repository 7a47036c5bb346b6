"""Holds files whose name says so: half of what passes through the daemon in these tests is to be held."""

from __future__ import annotations

from collections.abc import Callable

from hotfolder import plugin


class HoldMarked(plugin.Step):
    """Hold a file that is called bad."""

    name = "hold_marked"

    def run(self, job: plugin.Job) -> None:
        if "bad" in job.name:
            job.hold("marked", "Its name says that it is bad.")


@plugin.hookimpl
def register_steps(register: Callable[[type[plugin.Step]], None]) -> None:
    register(HoldMarked)
