"""Sends parcels on beside the jobs, a few at a time, and tries each again, later and later, until it has arrived."""

from __future__ import annotations

import sqlite3
import threading
import traceback
from collections import defaultdict
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from functools import partial
from typing import Any

from hotfolder.daemon.dispatch import Inbox, nothing
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.parcels import Altered, Parcels, Waybill
from hotfolder.finding import Finding, Level
from hotfolder.names import printable
from hotfolder.parcel import without_secrets

_CODE = "not_handed_over"
_AT_ONCE = 8  # and of these one to each place, so that a place that never answers keeps no other waiting
_FIRST_PAUSE, _LONGEST_PAUSE = 1.0, 300.0
_TRIES_BEFORE_IDLE = 4  # as in dispatch.py
_LONGEST_WORDS = 300  # of an error that a library for a far machine reports
_GRACE = 5.0  # seconds that a delivery under way is waited for at the end


@dataclass
class _Way:
    """One parcel on its way."""

    waybill: Waybill
    number: int
    tries: int = 0
    given_up: bool = False

    @property
    def place(self) -> str:
        return self.waybill.parcels[self.number].shown

    def event(self, what: What, **fields: Any) -> Event:
        bill = self.waybill
        return Event(what, bill.route, bill.job, bill.file, folder=printable(self.place), **fields)


@dataclass
class _Place:
    """A folder or an address: when it may be tried again, and how often in a row it could not be reached."""

    when: float = float("-inf")
    failed: int = 0


class HandOvers:
    """What waits, what is under way. All but the deliveries themselves is done in the daemon's own thread."""

    def __init__(
        self,
        parcels: Parcels,
        ledger: Ledger,
        tell: Callable[[Event], None],
        clock: Callable[[], float],
        inbox: Inbox,
    ) -> None:
        self._parcels, self._ledger, self._tell, self._clock, self._inbox = parcels, ledger, tell, clock, inbox
        self._ways: dict[tuple[str, int], _Way] = {}
        self._places: defaultdict[str, _Place] = defaultdict(_Place)
        self._running: dict[tuple[str, int], tuple[Future[list[str]], threading.Thread]] = {}

    def line_up(self, job: str | None = None) -> None:
        """Take up what waits of one job that stands in `pass`, or of all."""
        try:
            waiting = self._parcels.waiting(job)
        except OSError as error:
            return self._tell(
                Event(What.TROUBLE, job=job or "", words=f"{error.strerror}; nothing is handed over now.")
            )
        for waybill, number in waiting:
            way = _Way(waybill, number)
            self._ways.setdefault((waybill.job, number), way)
            self._remember(partial(self._ledger.hand_over, waybill.job, way.place, "waiting"))
        if job is None:
            self._remember(partial(self._compare, [(bill.job, bill.parcels[number].shown) for bill, number in waiting]))

    def _compare(self, waiting: list[tuple[str, str]]) -> None:
        """What is under way by the ledger, but not by the spool, has arrived: killed before that was written down."""
        for row in self._ledger.hand_overs():
            if (row.job, row.place) not in waiting and row.state != "failed":
                self._ledger.hand_over(row.job, row.place, "done", row.tries)
                if all(row.job != job for job, _ in waiting):
                    self._ledger.note(row.job, _CODE, None)

    def feed(self) -> None:
        busy = {self._ways[key].place for key in self._running}
        for key, way in self._ways.items():
            if len(self._running) >= _AT_ONCE:
                return
            if not way.given_up and way.place not in busy and self._places[way.place].when <= self._clock():
                busy.add(way.place)
                future: Future[list[str]] = Future()
                future.add_done_callback(lambda _: self._inbox.put(nothing))
                call = partial(self._parcels.deliver, way.waybill, way.number)
                # A thread that the end of the program does not wait for: a far machine may never answer.
                thread = threading.Thread(target=_deliver, args=(call, future), name="hand over", daemon=True)
                self._running[key] = (future, thread)
                thread.start()

    def collect(self) -> None:
        """Tell and write down what came of the tries that have ended."""
        for key in [key for key, (future, _) in self._running.items() if future.done()]:
            future, _ = self._running.pop(key)
            way = self._ways[key]
            way.tries += 1
            error = future.exception()
            if error is None:
                del self._ways[key]
                self._places.pop(way.place, None)
                self._arrived(way, future.result())
            else:
                self._ways[key] = self._ways.pop(key)  # to the end: others may be luckier
                self._failed(way, error)

    def _arrived(self, way: _Way, names: list[str]) -> None:
        job = way.waybill.job
        self._tell(way.event(What.HANDED_OVER, names=tuple(names)))
        self._remember(partial(self._ledger.hand_over, job, way.place, "done", way.tries))
        if not any(other == job for other, _ in self._ways):
            self._remember(partial(self._ledger.note, job, _CODE, None))

    def _failed(self, way: _Way, error: BaseException) -> None:
        way.given_up = isinstance(error, Altered)
        if not way.given_up:
            place = self._places[way.place]
            place.when = self._clock() + min(_FIRST_PAUSE * 2 ** min(place.failed, 10), _LONGEST_PAUSE)
            place.failed += 1
        said = without_secrets(str(getattr(error, "strerror", None) or error or type(error).__name__))
        words = printable(said)[:_LONGEST_WORDS].rstrip(".") + "."
        if way.given_up or way.tries & (way.tries - 1) == 0:  # a place away for a day must not fill the log
            again = "It is not tried again." if way.given_up else "It is tried again by itself."
            trace = (
                ""
                if isinstance(error, OSError | Altered)
                else without_secrets("".join(traceback.format_exception(error)))
            )
            self._tell(way.event(What.NOT_HANDED_OVER, words=f"{words} {again}", trace=trace))
        state = "failed" if way.given_up else "trying"
        self._remember(partial(self._ledger.hand_over, way.waybill.job, way.place, state, way.tries, words))
        self._remember(partial(self._ledger.note, way.waybill.job, _CODE, _note(way, words)))

    def _remember(self, write: Callable[[], None]) -> None:
        try:
            write()
        except sqlite3.Error as error:  # the spool holds the truth
            self._tell(Event(What.TROUBLE, words=f"The ledger could not be written: {error}"))

    def idle(self) -> bool:
        waiting = {way.place for way in self._ways.values() if not way.given_up}
        return not self._running and all(self._places[place].failed >= _TRIES_BEFORE_IDLE for place in waiting)

    def pause(self) -> float:
        """Seconds until something is to be tried again."""
        waits = [self._places[way.place].when - self._clock() for way in self._ways.values() if not way.given_up]
        return min((wait for wait in waits if wait > 0), default=float("inf"))

    def close(self) -> None:
        """Let go: what is under way goes on for a little; the next start makes up for what did not end."""
        for _, thread in self._running.values():
            thread.join(_GRACE / _AT_ONCE)


def _note(way: _Way, words: str) -> Finding:
    return Finding(
        code=_CODE,
        level=Level.NOTE,
        message=f"The finished file passed, but could not be handed over to {printable(way.place)}: {words}",
        mend="See whether that place can be reached; hotfolder goes on trying. The file stands in `pass` all the while."
        if not way.given_up
        else "Send the file from `pass` by hand, if it was changed on purpose; else drop the artwork again.",
    )


def _deliver(call: Callable[[], list[str]], future: Future[list[str]]) -> None:
    try:
        names = call()
    except Exception as error:  # the edge around one job's delivery: a library for a far machine may raise anything
        future.set_exception(error)
    else:
        future.set_result(names)
