"""Passes on what the daemon has to say: to its own log, and to whoever listens."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from hotfolder.daemon.events import Event, What
from hotfolder.daemon.journal import Journal
from hotfolder.names import printable

Listener = Callable[[Event], None]


class News:
    """One place through which every event goes, in the daemon's own thread."""

    def __init__(self, journal: Journal, listeners: list[Listener]) -> None:
        self.journal = journal
        self.listeners = listeners

    def tell(self, event: Event) -> None:
        if event.what is not What.STEP:  # the job's own log has those
            fields = {key: value for key, value in vars(event).items() if key != "what" and value}
            self.journal.tell(event.what.value, **fields)
        for listener in self.listeners:
            listener(event)

    def tell_of(self, route: str, what: str, path: Path, words: str) -> None:
        """News of a file or a folder."""
        self.tell(Event(What(what), route, file=printable(path.name), folder=printable(str(path.parent)), words=words))

    def spool_trouble(self, spool: Path, error: OSError) -> None:
        self.tell(Event(What.TROUBLE, folder=printable(str(spool)), words=str(error.strerror)))
