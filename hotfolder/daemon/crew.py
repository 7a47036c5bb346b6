"""The runners that do the jobs: one at a time, exchanged when a changed config asks for other limits or folders."""

from __future__ import annotations

from hotfolder.config.studio import Studio
from hotfolder.daemon.jobs import Works
from hotfolder.daemon.runner import Runner


class Crew:
    """Jobs that were begun with an earlier runner end with it. `given` stands in for all of them, in tests."""

    def __init__(self, studio: Studio, given: Works | None) -> None:
        self._given = given
        self._terms = _terms(studio)
        self._own = None if given is not None else _make(studio)
        self._earlier: list[tuple[Runner, set[str]]] = []  # with the jobs that still need it

    @property
    def runner(self) -> Works:
        """For jobs that are begun from now on."""
        runner = self._given or self._own
        assert runner is not None
        return runner

    def take(self, studio: Studio, running: set[str]) -> None:
        """Go on with this studio; `running`: the jobs at work."""
        if self._own is None or _terms(studio) == self._terms:
            return
        self._earlier.append((self._own, running))
        self._own, self._terms = _make(studio), _terms(studio)
        self._own.warm()
        self.dismiss(running)

    def dismiss(self, running: set[str]) -> None:
        """End the earlier runners that no job needs any more."""
        for runner, jobs in self._earlier:
            if not jobs & running:
                runner.close()
        self._earlier = [(runner, jobs) for runner, jobs in self._earlier if jobs & running]

    def warm(self) -> None:
        if self._own is not None:
            self._own.warm()

    def stop(self) -> None:
        """End what runs; it is laid down."""
        for runner in self._all():
            runner.stop()

    def close(self) -> None:
        for runner in self._all():
            runner.close()

    def _all(self) -> list[Runner]:
        return [runner for runner in (self._own, *(earlier for earlier, _ in self._earlier)) if runner is not None]


def _terms(studio: Studio) -> tuple[object, ...]:
    return studio.plugins.folders, studio.limits, studio.used_conditions, studio.customers


def _make(studio: Studio) -> Runner:
    return Runner(studio.plugins.folders[1:], studio.limits, studio.used_conditions, hidden=studio.customers)
