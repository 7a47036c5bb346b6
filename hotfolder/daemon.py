"""The daemon: looks for arrivals, hands each to a worker, and sees every job through to its outcome."""

from __future__ import annotations

import queue
import sqlite3
import time
import traceback
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from hotfolder.arrivals import Arrival, Arrivals
from hotfolder.errors import ConfigError
from hotfolder.events import Event, What
from hotfolder.files import Files
from hotfolder.jobs import Finished, Jobs, Works
from hotfolder.journal import Journal
from hotfolder.ledger import Ledger
from hotfolder.lock import SpoolLock
from hotfolder.names import printable
from hotfolder.record import JobRecord
from hotfolder.runner import Runner
from hotfolder.spool import Damaged, Spool
from hotfolder.studio import Route, Studio
from hotfolder.watcher import Watcher

_LONGEST_PAUSE = 60.0
_TRIES_BEFORE_IDLE = 4  # something tried in vain so often does not keep `until_idle` waiting


@dataclass
class _Later:
    """Something to be tried again: when, and how often it was tried."""

    when: float
    tries: int = 0
    died: bool = False

    def put_off(self, now: float) -> None:
        self.when = now + min(0.5 * 2**self.tries, _LONGEST_PAUSE)
        self.tries += 1


class Daemon:
    """Runs a studio. `heard` is called in the thread of `run`, with each Event.

    `runner`, `files` and `clock` are for tests. Without `heard`, the events go to standard error.
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
        self._events = events  # without, the folders are only looked through at intervals
        # What the threads and the watcher want done in the thread of `run`. Its `put` is safe in a signal handler.
        self._inbox: queue.SimpleQueue[Callable[[], None]] = queue.SimpleQueue()
        self._stops = 0
        self._running: dict[Future[Finished | None], str] = {}
        self._taking: dict[str, Path] = {}  # job -> the artwork it is about to take
        self._later: dict[str, _Later] = {}  # by job
        self._paused: dict[Path, _Later] = {}  # artwork that could not be taken
        self._hinted: set[Path] = set()

    # ---- from outside

    def run(self, until_idle: bool = False) -> None:
        """Work until `stop`, or until nothing waits or runs. ConfigError where this studio can't be run here."""
        self._make_folders()
        with SpoolLock(self._studio.spool):
            self._open()
            try:
                self._loop(until_idle)
            finally:
                self._close()

    def stop(self) -> None:
        """Take nothing more; let running jobs finish, for a while, then put them back. At once if called again."""
        self._stops += 1
        self._inbox.put(_nothing)

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

    def _open(self) -> None:
        studio = self._studio
        self._journal = Journal(studio.spool / "daemon.log", to_people=self._heard is None)
        self._spool = Spool(studio.spool, self._files)
        self._ledger = Ledger(studio.spool / "ledger.sqlite")
        self._own = None if self._given else Runner(studio.plugins.folders[1:], studio.limits)
        runner = self._given or self._own
        assert runner is not None
        self._jobs = Jobs(studio, self._spool, self._ledger, runner, self._from_thread)
        self._pool = ThreadPoolExecutor(max(1, studio.workers), "job")
        self._watcher = Watcher(self._hint, lambda what, folder, words: self._tell_of("", what, folder, words))
        self._arrivals = [
            (route, Arrivals(route.name, route.watch, route.settle, route.patience, self._files, self._clock))
            for route in studio.routes
            if route.watch is not None
        ]
        for route, arrivals in self._arrivals:
            arrivals.tell = partial(self._tell_of, route.name)
            self._tell(Event(What.WATCHING, route.name, folder=printable(str(route.watch))))
        self._recover()

    def _close(self) -> None:
        self._watcher.close()
        if self._own is not None:
            self._own.stop()
        self._pool.shutdown()
        if self._own is not None:
            self._own.close()
        self._collect()
        self._drain(0)
        self._ledger.close()
        self._journal.close()

    def _recover(self) -> None:
        """Line up what an earlier daemon left unfinished, and bring the ledger in step with the folders."""
        now = self._clock()
        for job in self._spool.claimed():
            self._later[job] = _Later(now, died=True)
        for job in self._spool.committed():
            self._later[job] = _Later(now)
        for job in self._later:
            self._tell(Event(What.RECOVERED, job=job, words="Left unfinished by an earlier run; it is taken up again."))
        if self._ledger.fresh:
            for record, published in self._spool.settled():
                self._ledger.settled(record, "published" if published else "committed")
        for entry in self._ledger.entries("committed"):
            if entry.job not in self._later and (unannounced := self._ledger.record(entry.job)) is not None:
                self._announce(unannounced)  # killed between publishing it and saying so

    # ---- the loop

    def _loop(self, until_idle: bool) -> None:
        swept, cost, laid_down = float("-inf"), 0.0, 0.0
        while True:
            now = self._clock()
            due = now - swept >= self._studio.rescan
            # Under a storm of events: look often, but spend no more than a tenth of the time on it.
            if not self._stops and (due or (self._hinted and now - swept >= max(0.05, 10 * cost))):
                self._sweep(due)
                swept = now
                cost = self._clock() - now
            elif not self._stops:
                for _, arrivals in self._arrivals:
                    arrivals.look_again()
            self._collect()
            if self._stops:
                laid_down = laid_down or now + self._grace
                if not self._running:
                    return
                if (self._stops > 1 or now >= laid_down) and self._own is not None:
                    self._own.stop()
            else:
                self._feed()
                if until_idle and self._idle():
                    return
            self._drain(self._pause(swept))

    def _pause(self, swept: float) -> float:
        """Seconds until there is something to do, unless something is heard before."""
        pauses = [0.5, swept + self._studio.rescan - self._clock()]
        pauses += [route.settle / 4 for route, arrivals in self._arrivals if arrivals.unsettled]
        if self._hinted:
            pauses.append(0.05)
        return min(max(min(pauses), 0.02), 0.5)

    def _drain(self, seconds: float) -> None:
        """Do what was asked for meanwhile; wait for it so many seconds at most."""
        try:
            self._inbox.get(timeout=seconds)() if seconds else self._inbox.get_nowait()()
            while True:
                self._inbox.get_nowait()()
        except queue.Empty:
            return

    def _sweep(self, everything: bool) -> None:
        hinted, self._hinted = self._hinted, set()
        for _, arrivals in self._arrivals:
            if everything or arrivals.root in hinted:
                if self._events:
                    self._watcher.check(arrivals.root)
                arrivals.sweep()
        if everything:
            self._find_strays()

    def _find_strays(self) -> None:
        """Take up jobs in the spool that nobody is at; there should be none."""
        try:
            jobs = self._spool.claimed()
        except OSError as error:
            self._tell(Event(What.UNREACHABLE, folder=str(self._spool.work), words=str(error.strerror)))
            return
        for job in jobs:
            if job not in self._running.values() and job not in self._later:
                self._later[job] = _Later(self._clock())

    def _idle(self) -> bool:
        return not (
            self._running
            or self._hinted
            or any(later.tries < _TRIES_BEFORE_IDLE for later in self._later.values())
            or any(arrivals.waiting for _, arrivals in self._arrivals)
            or any(self._tried(arrival) < _TRIES_BEFORE_IDLE for _, arrival in self._candidates())
        )

    def _tried(self, arrival: Arrival) -> int:
        paused = self._paused.get(arrival.path)
        return paused.tries if paused else 0

    # ---- handing out work

    def _feed(self) -> None:
        now = self._clock()
        free = self._studio.workers - len(self._running)
        due = [job for job, later in self._later.items() if later.when <= now and job not in self._running.values()]
        for job in due[: max(free, 0)]:
            died, self._later[job].died = self._later[job].died, False
            self._submit(job, partial(self._jobs.resume, job, died=died))
            free -= 1
        if free > 0:
            ready = [each for each in self._candidates() if self._may_try(each[1], now)]
            for route, arrival in ready[:free]:
                self._take(route, arrival)

    def _may_try(self, arrival: Arrival, now: float) -> bool:
        paused = self._paused.get(arrival.path)
        return paused is None or paused.when <= now

    def _candidates(self) -> Iterator[tuple[Route, Arrival]]:
        """What may be taken: of each route the first, then of each the second, and so on."""
        taking = set(self._taking.values())
        waiting = [
            [(route, arrival) for arrival in arrivals.ready if arrival.path not in taking]
            for route, arrivals in self._arrivals
        ]
        for turn in range(max(map(len, waiting), default=0)):
            for line in waiting:
                if turn < len(line):
                    yield line[turn]

    def _take(self, route: Route, arrival: Arrival) -> None:
        try:
            job = self._spool.new_id()
        except OSError as error:
            self._put_off(arrival.path, error)
            return
        self._taking[job] = arrival.path
        taken = partial(self._inbox.put, partial(self._taken, job, arrival))
        self._submit(job, partial(self._jobs.begin, job, arrival, route, taken))

    def _submit(self, job: str, call: Callable[[], Finished | None]) -> None:
        future = self._pool.submit(call)
        self._running[future] = job
        future.add_done_callback(lambda _: self._inbox.put(_nothing))

    def _taken(self, job: str, arrival: Arrival) -> None:
        self._taking.pop(job, None)
        self._paused.pop(arrival.path, None)
        self._forget(arrival.path)

    def _forget(self, path: Path) -> None:
        for _, arrivals in self._arrivals:
            arrivals.forget(path)

    # ---- what came of it

    def _collect(self) -> None:
        for future in [future for future in self._running if future.done()]:
            job = self._running.pop(future)
            taking = self._taking.pop(job, None)
            error = future.exception()
            if error is None:
                self._later.pop(job, None)
                finished = future.result()
                if finished is None:
                    self._hinted.update(arrivals.root for _, arrivals in self._arrivals)  # it may lie there again
                else:
                    self._finished(finished)
            elif isinstance(error, Damaged):
                self._later.pop(job, None)
                words = "Its folder in the spool can't be understood; it was moved to `damaged` there."
                self._tell(Event(What.DAMAGED, job=job, words=words))
            else:
                self._failed(job, taking, error)

    def _failed(self, job: str, taking: Path | None, error: BaseException) -> None:
        self._later.setdefault(job, _Later(0)).put_off(self._clock())
        if not isinstance(error, OSError):  # the edge around one job
            trace = "".join(traceback.format_exception(error))
            self._journal.tell("fault", job=job, trace=trace)
        words = f"{error.strerror or error}" if isinstance(error, OSError) else f"{type(error).__name__}: {error}"
        if taking is not None:
            self._put_off(taking, error)
        else:
            self._tell(Event(What.AGAIN, job=job, words=f"{words}. The job is safe and is tried again."))

    def _put_off(self, path: Path, error: BaseException) -> None:
        self._paused.setdefault(path, _Later(0)).put_off(self._clock())
        self._forget(path)
        self._hinted.update(arrivals.root for _, arrivals in self._arrivals)
        words = f"The file could not be taken: {getattr(error, 'strerror', None) or error}. It is tried again."
        self._tell(Event(What.AGAIN, file=printable(path.name), folder=printable(str(path.parent)), words=words))

    def _finished(self, finished: Finished) -> None:
        claim, record = finished.claim, finished.record
        outcome = record.outcome.value if record.outcome else ""
        folder = claim.passed if outcome == "pass" else claim.hold
        self._announce(record)
        self._tell(
            Event(
                What.FINISHED,
                record.route,
                record.job,
                record.file,
                outcome=outcome,
                words=record.reason,
                names=tuple(printable(name) for name in finished.names),
                folder=printable(folder),
            )
        )

    def _announce(self, record: JobRecord) -> None:
        try:
            self._studio.plugins.manager.hook.job_finished(record=record)
        except Exception:  # the edge around a plugin's own code: the job is done, whatever an observer thinks of it
            self._journal.tell("observer failed", job=record.job, trace=traceback.format_exc())
        try:
            self._ledger.settled(record, "published")
        except sqlite3.Error as error:
            self._tell(Event(What.TROUBLE, job=record.job, words=f"The ledger could not be written: {error}"))

    # ---- telling

    def _hint(self, folder: Path) -> None:
        if folder not in self._hinted:
            self._hinted.add(folder)
            self._inbox.put(_nothing)

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


def _nothing() -> None:
    """Only wakes the loop."""
