"""The daemon: looks for arrivals, hands each to a worker, and sees every job through to its outcome."""

from __future__ import annotations

import queue
import sqlite3
import time
import traceback
from collections.abc import Callable
from contextlib import ExitStack
from functools import partial
from pathlib import Path

from hotfolder.config.studio import Studio
from hotfolder.daemon.arrivals import Arrivals
from hotfolder.daemon.claiming import Claim
from hotfolder.daemon.dispatch import Dispatch, Inbox, nothing
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.files import Files
from hotfolder.daemon.hand_overs import HandOvers
from hotfolder.daemon.jobs import Finished, Jobs, Works
from hotfolder.daemon.journal import Journal
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.lock import SpoolLock
from hotfolder.daemon.parcels import Parcels
from hotfolder.daemon.runner import Runner
from hotfolder.daemon.spool import Published, Spool
from hotfolder.daemon.watcher import Watcher
from hotfolder.errors import ConfigError
from hotfolder.names import printable
from hotfolder.record import JobRecord


class Daemon:
    """Runs a studio. `heard` is called in the thread of `run`, with each Event.

    Without `heard`, the events go to standard error. `runner`, `files` and `clock` are for tests; without `events` of
    the operating system, the folders are looked through at intervals only.
    """

    def __init__(
        self,
        studio: Studio,
        heard: Callable[[Event], None] | None = None,
        *,
        runner: Works | None = None,
        files: Files | None = None,
        clock: Callable[[], float] = time.monotonic,
        grace: float = 20.0,
        events: bool = True,
    ) -> None:
        self._studio = studio
        self._heard = heard
        self._given = runner
        self._files = files or Files()
        self._clock = clock
        self._grace = grace
        self._events = events
        self._inbox: Inbox = queue.SimpleQueue()
        self._stops = 0
        self._hinted: set[Path] = set()
        self._blind = False  # the spool could not be looked at

    # ---- from outside

    def run(self, until_idle: bool = False) -> None:
        """Work until `stop`, or until nothing waits or runs. ConfigError where this studio can't be run here."""
        self._make_folders()
        with SpoolLock(self._studio.spool), ExitStack() as closing:
            try:
                self._open(closing)
            except OSError as error:
                raise ConfigError([f"The spool {self._studio.spool} can't be used: {error.strerror}."]) from error
            self._loop(until_idle)

    def stop(self) -> None:
        """Take nothing more; let running jobs finish, for a while, then put them back. At once if called again."""
        self._stops += 1
        self._inbox.put(nothing)

    # ---- start and end

    def _make_folders(self) -> None:
        problems = []
        folders = [self._studio.spool]
        for route in self._studio.routes:
            if route.watch is not None and (route.passed is None or route.hold is None):
                problems.append(f"The route '{route.name}' needs the folders `pass` and `hold`.")
            folders += [folder for folder in (route.watch, route.passed, route.hold) if folder is not None]
        for folder in folders:
            try:
                self._files.mkdir(folder)
            except OSError as error:
                problems.append(f"The folder {folder} can't be made: {error.strerror}.")
        if problems:
            raise ConfigError(problems)

    def _open(self, closing: ExitStack) -> None:
        studio = self._studio
        self._spool = Spool(studio.spool, self._files)
        self._journal = Journal(studio.spool / "daemon.log", to_people=self._heard is None)
        closing.callback(self._journal.close)
        self._ledger = Ledger(studio.spool / "ledger.sqlite")
        closing.callback(self._ledger.close)
        self._own = None if self._given else Runner(studio.plugins.folders[1:], studio.limits, studio.used_conditions)
        runner = self._given or self._own
        assert runner is not None
        self._watcher = Watcher(self._hint, partial(self._tell_of, ""))
        self._watched = [
            (
                route,
                Arrivals(
                    route.name,
                    route.watch,
                    route.settle,
                    route.patience,
                    self._files,
                    self._clock,
                    partial(self._tell_of, route.name),
                ),
            )
            for route in studio.routes
            if route.watch is not None
        ]
        parcels = Parcels(self._files, studio.spool, studio.folder)
        self._hand_overs = HandOvers(parcels, self._ledger, self._tell, self._clock, self._inbox)
        jobs = Jobs(studio, self._spool, self._ledger, runner, self._from_thread, parcels)
        self._dispatch = Dispatch(studio.workers, self._spool, jobs, self._watched, self._clock, self._inbox)
        closing.callback(self._end)
        for route, arrivals in self._watched:
            self._tell(Event(What.WATCHING, route.name, folder=printable(str(arrivals.root))))
        self._recover()
        if self._own is not None:
            self._own.warm()

    def _end(self) -> None:
        self._watcher.close()
        if self._own is not None:
            self._own.stop()
        self._dispatch.close()
        self._hand_overs.close()
        if self._own is not None:
            self._own.close()
        self._collect()
        self._drain(0)

    def _recover(self) -> None:
        """Line up what an earlier daemon left unfinished, and bring the ledger in step with the folders."""
        for job in self._spool.claimed():
            self._dispatch.line_up(job, died=True)
            self._tell(Event(What.RECOVERED, job=job, words="Begun by an earlier run; it is begun again."))
        for job in self._spool.committed():
            self._dispatch.line_up(job)
            self._tell(Event(What.RECOVERED, job=job, words="Done by an earlier run; its files are handed on."))
        if self._ledger.fresh:
            for record, published in self._spool.settled():
                self._ledger.settled(record, "published" if published else "committed")
        for entry in self._ledger.entries("claimed"):
            if not self._dispatch.knows(entry.job):  # killed right after it was put back, or twice while handed on
                self._ledger.put_back(entry.job)
                for record, _ in self._spool.settled(entry.job):
                    self._ledger.settled(record, "committed")
        for entry in self._ledger.entries("committed"):
            told = self._ledger.record(entry.job)
            if told is not None and not self._dispatch.knows(told.arrival):
                self._announce(told)  # killed between handing it on and saying so
        self._hand_overs.line_up()

    # ---- the loop

    def _loop(self, until_idle: bool) -> None:
        swept, cost, end = float("-inf"), 0.0, 0.0
        while True:
            now = self._clock()
            if self._stops:
                end = end or now + self._grace
                if not self._dispatch.busy:
                    return
                if (self._stops > 1 or now >= end) and self._own is not None:
                    self._own.stop()
            else:
                due = now - swept >= self._studio.rescan
                # Under a storm of events: look often, but spend no more than a tenth of the time on it.
                if due or (self._hinted and now - swept >= max(0.05, 10 * cost)):
                    self._sweep(due)
                    swept, cost = now, self._clock() - now
                else:
                    for _, arrivals in self._watched:
                        arrivals.look_again()
                self._feed()
                if until_idle and not self._hinted and self._dispatch.idle() and self._hand_overs.idle():
                    return
            self._drain(self._pause(swept))
            self._collect()

    def _pause(self, swept: float) -> float:
        """Seconds until there is something to do, unless something is heard before."""
        pauses = [0.5, swept + self._studio.rescan - self._clock(), self._dispatch.pause()]
        pauses.append(self._hand_overs.pause())
        pauses += [route.settle / 4 for route, arrivals in self._watched if arrivals.unsettled]
        if self._hinted:
            pauses.append(0.05)
        return max(min(pauses), 0.02)

    def _drain(self, seconds: float) -> None:
        """Do what was asked for meanwhile; wait for it so many seconds at most."""
        try:
            self._inbox.get(block=seconds > 0, timeout=seconds or None)()
            while True:
                self._inbox.get_nowait()()
        except queue.Empty:
            return

    def _sweep(self, everything: bool) -> None:
        hinted, self._hinted = self._hinted, set()
        for _, arrivals in self._watched:
            if everything or arrivals.root in hinted:
                if self._events:
                    self._watcher.check(arrivals.root)
                arrivals.sweep()
        if everything:
            self._find_strays()

    def _find_strays(self) -> None:
        """Take up jobs in the spool that nobody is at; there should be none."""
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

    def _feed(self) -> None:
        self._hand_overs.feed()
        try:
            self._dispatch.feed()
        except OSError as error:
            self._tell(Event(What.TROUBLE, folder=printable(str(self._spool.root)), words=str(error.strerror)))

    # ---- what came of it

    def _collect(self) -> None:
        self._hand_overs.collect()
        for ended in self._dispatch.collect():
            if isinstance(ended, Finished):
                for published in ended.published:
                    self._finished(ended.claim, published)
                continue
            self._hinted.update(arrivals.root for _, arrivals in self._watched)  # it may lie there again
            if ended is not None:
                self._tell(ended)

    def _finished(self, claim: Claim, published: Published) -> None:
        record = published.record
        outcome = record.outcome.value if record.outcome else ""
        self._announce(record)
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

    def _announce(self, record: JobRecord) -> None:
        try:
            self._studio.plugins.manager.hook.job_finished(record=record)
        except Exception:  # the edge around a plugin's own code: the job is done, whatever an observer thinks of it
            self._tell(Event(What.TROUBLE, job=record.job, words="An observer failed.", trace=traceback.format_exc()))
        try:
            self._ledger.settled(record, "published")
        except sqlite3.Error as error:
            self._tell(Event(What.TROUBLE, job=record.job, words=f"The ledger could not be written: {error}"))

    # ---- telling

    def _hint(self, folder: Path) -> None:
        if folder not in self._hinted:
            self._hinted.add(folder)
            self._inbox.put(nothing)

    def _from_thread(self, event: Event) -> None:
        self._inbox.put(partial(self._tell, event))

    def _tell_of(self, route: str, what: str, path: Path, words: str) -> None:
        self._tell(Event(What(what), route, file=printable(path.name), folder=printable(str(path.parent)), words=words))

    def _tell(self, event: Event) -> None:
        if event.what is not What.STEP:  # the job's own log has those
            fields = {key: value for key, value in vars(event).items() if key != "what" and value}
            self._journal.tell(event.what.value, **fields)
        if self._heard is not None:
            self._heard(event)
