"""Tells of jobs that have their outcome: observers, the ledger, those who listen; and sees that they are handed over."""

from __future__ import annotations

import sqlite3
import traceback
from collections.abc import Callable

import pluggy

from hotfolder.daemon.claiming import Claim
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.hand_overs import HandOvers
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.spool import Published
from hotfolder.names import printable
from hotfolder.record import JobRecord


class Outcomes:
    """What is done when a job's files stand where they belong. `observers` may be exchanged while the daemon runs."""

    def __init__(
        self, observers: pluggy.PluginManager, ledger: Ledger, hand_overs: HandOvers, tell: Callable[[Event], None]
    ) -> None:
        self.observers = observers
        self.counted: Callable[[JobRecord], None] = lambda record: None
        self._ledger, self._hand_overs, self._tell = ledger, hand_overs, tell

    def finished(self, claim: Claim, published: Published) -> None:
        record = published.record
        outcome = record.outcome.value if record.outcome else ""
        self.announce(record)
        self.counted(record)
        self._hand_overs.line_up(record.job)
        self._tell(
            Event(
                What.FINISHED,
                record.route,
                record.job,
                record.shown_file,
                outcome=outcome,
                words=record.reason,
                names=tuple(printable(name) for name in published.names),
                folder=printable(claim.passed if outcome == "pass" else claim.hold),
            )
        )

    def announce(self, record: JobRecord) -> None:
        """Tell the observers, then write down that they were told."""
        try:
            self.observers.hook.job_finished(record=record)
        except Exception:  # the edge around a plugin's own code: the job is done, whatever an observer thinks of it
            self._tell(Event(What.TROUBLE, job=record.job, words="An observer failed.", trace=traceback.format_exc()))
        try:
            self._ledger.settled(record, "published")
        except sqlite3.Error as error:
            self._tell(Event(What.TROUBLE, job=record.job, words=f"The ledger could not be written: {error}"))
