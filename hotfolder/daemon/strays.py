"""Looks whether a job stands in the spool that nobody is at; there should be none."""

from __future__ import annotations

from collections.abc import Callable

from hotfolder.daemon.dispatch import Dispatch
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.spool import Spool
from hotfolder.names import printable


class Strays:
    """Takes them up again. A spool that can't be looked at is told once, and once more when it can."""

    def __init__(self, spool: Spool, dispatch: Dispatch, tell: Callable[[Event], None]) -> None:
        self._spool, self._dispatch, self._tell = spool, dispatch, tell
        self._blind = False

    def look(self) -> None:
        folder = printable(str(self._spool.work))
        try:
            jobs = self._spool.claimed()
        except OSError as error:
            if not self._blind:
                self._tell(Event(What.UNREACHABLE, folder=folder, words=f"The spool can't be used: {error.strerror}."))
            self._blind = True
            return
        if self._blind:
            self._tell(Event(What.REACHABLE, folder=folder, words="The spool can be used again."))
        self._blind = False
        for job in jobs:
            self._dispatch.line_up(job)
