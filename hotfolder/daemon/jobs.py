"""One job's way through the daemon: take it, have it worked on, settle its outcome, put its files where they belong."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Protocol

from hotfolder.config.studio import Route, Studio
from hotfolder.daemon.arrivals import Arrival, State
from hotfolder.daemon.claiming import Attempt, Claim
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.ledger import Entry, Ledger
from hotfolder.daemon.parcels import Parcels
from hotfolder.daemon.runner import Stopped, empty
from hotfolder.daemon.spool import Fenced, Published, Spool
from hotfolder.names import printable
from hotfolder.record import JobRecord
from hotfolder.step import Delivery
from hotfolder.work import Order, write_failure

#: So often a job may be begun: one that always takes the daemon down with it must not do so for ever.
MOST_ATTEMPTS = 5

_DROP_AGAIN = "Export or copy the artwork again, wait until that has finished, and drop the whole file."
#: Why a file is held without a look at its content: message, mend.
_NOT_WORKED_ON = {
    State.CUT_SHORT: (
        "The file is cut short: its end is missing, as when copying or exporting was interrupted.",
        _DROP_AGAIN,
    ),
    State.EMPTY: ("The file is empty: it has no content at all.", _DROP_AGAIN),
    State.UNREADABLE: (
        "hotfolder is not allowed to read this file.",
        "Give everyone the right to read the file, or save a copy of it, and drop that.",
    ),
}


class Works(Protocol):
    """What does a job; hotfolder.daemon.runner.Runner in earnest."""

    def run(self, order: Order, heard: Callable[[str], None] | None = None) -> JobRecord: ...


@dataclass(frozen=True)
class Finished:
    """What became of one arrival: its files stand where they belong."""

    claim: Claim
    published: list[Published]  # one, or one for each size ordered


@dataclass(frozen=True)
class Terms:
    """On which a job is done from its beginning to its end, whatever becomes of the config meanwhile."""

    studio: Studio
    runner: Works


class Jobs:
    """What the daemon's threads do. OSError: the job is safe in the spool, and is to be tried again later."""

    def __init__(
        self,
        studio: Studio,
        spool: Spool,
        ledger: Ledger,
        runner: Works,
        tell: Callable[[Event], None],
        parcels: Parcels,
    ) -> None:
        self.terms = Terms(studio, runner)  # of jobs that are begun from now on
        self._spool = spool
        self._ledger = ledger
        self._tell = tell
        self._parcels = parcels

    def begin(
        self, job: str, arrival: Arrival, route: Route, taken: Callable[[], None], terms: Terms
    ) -> Finished | None:
        """Take an arrival and do it; None where it was not to be had or went back. `taken`: its name is free again."""
        assert route.passed is not None
        assert route.hold is not None
        attempt = self._spool.claim(job, arrival, route.passed, route.hold)
        taken()
        return self._do(attempt, route, terms) if attempt is not None else None

    def resume(self, job: str, terms: Terms, *, died: bool) -> Finished | None:
        """Go on with a job that stands in the spool."""
        if self._spool.is_committed(job):
            return self.publish(job, terms.studio.route)
        attempt = self._spool.take_over(job, died=died)
        if attempt is None:  # it went back to where it lay, or was never taken
            self._remember(lambda: self._ledger.put_back(job))
            return None
        route = terms.studio.route(attempt.claim.route)
        if route is None:
            return self._back(attempt, f"There is no route '{attempt.claim.route}' any more.")
        return self._do(attempt, route, terms)

    def publish(self, job: str, route_of: Callable[[str], Route | None]) -> Finished:
        return Finished(*self._spool.publish(job, partial(self._make_ready, route_of)))

    def _make_ready(self, route_of: Callable[[str], Route | None], out: Path, record: JobRecord) -> None:
        """Keep what the route's chain wants to be sent on, before it appears in `pass` and may be fetched from there."""
        route = route_of(record.route)
        deliveries = [step for step in route.chain if isinstance(step, Delivery)] if route is not None else []
        self._parcels.prepare(out, record, [parcel for step in deliveries for parcel in step.parcels()])

    # ---- the middle

    def _do(self, attempt: Attempt, route: Route, terms: Terms) -> Finished | None:
        claim = attempt.claim
        self._tell(Event(What.STARTED, claim.route, claim.job, printable(claim.name)))
        self._remember(
            lambda: self._ledger.claimed(claim.job, claim.route, printable(claim.name), claim.when, attempt.number)
        )
        stamp = self._spool.files.look(attempt.original)
        order = self._order(attempt, route, terms.studio)
        try:
            done = [(order, self._record(order, claim, terms.runner))]
            for other in order.others(done[0][1]):
                other = replace(other, out=self._spool.room(attempt, other.part))
                done.append((other, self._record(other, claim, terms.runner)))
        except Stopped:
            return self._back(attempt, "hotfolder was stopped.")
        if not self._spool.unchanged(attempt, stamp):
            return self._back(attempt, "The file was changed while it was worked on.")
        try:
            self._commit(attempt, done)
        except Fenced:
            return None
        return self.publish(claim.job, lambda name: route)

    def _record(self, order: Order, claim: Claim, runner: Works) -> JobRecord:
        state = State(claim.state)
        if state in _NOT_WORKED_ON:
            return write_failure(order, state.value, *_NOT_WORKED_ON[state])
        if order.attempt > MOST_ATTEMPTS:
            return write_failure(
                order,
                "worker_died",
                f"hotfolder was stopped {MOST_ATTEMPTS} times while it worked on this file, and does not try it again.",
                "If something else stopped it each time, drop the file again. Else export it again with other settings.",
            )
        heard = Event(What.STEP, claim.route, claim.job, printable(claim.name))
        return runner.run(order, lambda step: self._tell(replace(heard, step=printable(step))))

    def _commit(self, attempt: Attempt, done: list[tuple[Order, JobRecord]]) -> None:
        records = [self._proven(order, record) for order, record in done]
        self._spool.commit(attempt)
        for record in records:
            self._remember(partial(self._ledger.settled, record, "committed"))
        for entry in self._seen_before(records[0])[:1]:
            words = f"The very same file came as {entry.file} in job {entry.job} ({entry.outcome})."
            self._tell(Event(What.SEEN_BEFORE, records[0].route, records[0].job, records[0].file, words=words))

    def _proven(self, order: Order, record: JobRecord) -> JobRecord:
        """The record, if the files that belong to it are whole on the disk; else that of a failure, with its files."""
        try:
            self._spool.prove(order.out, record)
        except ValueError as error:
            empty(order.out)
            record = write_failure(
                order,
                "unsound_result",
                "The finished file did not reach the disk as it was made.",
                "Drop the file again. If this comes back, have the disk of the spool looked at.",
                str(error),
            )
            self._spool.prove(order.out, record)
        return record

    def _seen_before(self, record: JobRecord) -> list[Entry]:
        try:
            return self._ledger.seen_before(record.digest, record.arrival)
        except sqlite3.Error:
            return []

    def _back(self, attempt: Attempt, why: str) -> Finished | None:
        claim = attempt.claim
        self._spool.put_back(attempt)
        self._remember(lambda: self._ledger.put_back(claim.job))
        self._tell(Event(What.PUT_BACK, claim.route, claim.job, printable(claim.name), words=why))
        return None

    def _remember(self, write: Callable[[], None]) -> None:
        try:
            write()
        except sqlite3.Error as error:  # it can be made again from the folders; the job must go on
            self._tell(Event(What.TROUBLE, words=f"The ledger could not be written: {error}"))

    def _order(self, attempt: Attempt, route: Route, studio: Studio) -> Order:
        claim = attempt.claim
        return Order(
            job=claim.job,
            route=claim.route,
            name=claim.name,
            subfolder=claim.subfolder,
            original=attempt.original,
            ticket_files=attempt.tickets(),
            out=attempt.out,
            arrived=claim.when,
            attempt=attempt.number,
            chain=route.chain,
            ticket=route.ticket,
            file_names=route.file_names,
            subfolders=route.subfolders,
            conditions=studio.conditions,
            condition=studio.condition,
        )
