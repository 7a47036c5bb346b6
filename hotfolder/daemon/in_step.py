"""Brings the ledger in step with the folders, which hold the truth: at the start, and after it could not be written."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

from hotfolder.daemon.dispatch import Dispatch
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.outcomes import Outcomes
from hotfolder.daemon.spool import Spool
from hotfolder.names import printable


def bring_in_step(
    spool: Spool, ledger: Ledger, dispatch: Dispatch, outcomes: Outcomes, tell: Callable[[Event], None]
) -> None:
    """May be done at any time. Where it fails, the daemon goes on without, and it is to be done again later."""
    try:
        ledger.behind = False
        if ledger.aside is not None:
            remember(spool, ledger, tell)
        _compare(spool, ledger, dispatch, outcomes)
    except (sqlite3.Error, OSError) as error:
        ledger.behind = True
        tell(Event(What.TROUBLE, words=f"The ledger could not be brought in step with the folders: {error}"))


def _compare(spool: Spool, ledger: Ledger, dispatch: Dispatch, outcomes: Outcomes) -> None:
    claimed = {entry.job for entry in ledger.entries("claimed")}
    for record, published in spool.settled(besides=ledger.settled_arrivals()):
        told = published and record.arrival not in claimed  # else killed in the middle: it has yet to be announced
        ledger.settled(record, "published" if told else "committed")
    for job in claimed:
        if not dispatch.knows(job):  # killed right after it was put back
            ledger.put_back(job)
    for entry in ledger.entries("committed"):
        record_of = ledger.record(entry.job)
        if record_of is not None and not dispatch.knows(record_of.arrival):
            outcomes.announce(record_of)  # killed between handing it on and saying so


def remember(spool: Spool, ledger: Ledger, tell: Callable[[Event], None]) -> None:
    """Fill an empty ledger from the folders; told where it takes the place of a damaged one."""
    count = 0
    for record, published in spool.settled():
        ledger.settled(record, "published" if published else "committed")
        count += 1
    if ledger.aside is not None:
        words = (
            f"The ledger was damaged. It is kept as {ledger.aside.name}, and a new one was made of the {count} jobs in the "
            "spool; what was cleared away from there before is forgotten. No file is lost. Have the disk looked at."
        )
        tell(Event(What.TROUBLE, folder=printable(str(spool.root)), words=words))
        ledger.aside = None
