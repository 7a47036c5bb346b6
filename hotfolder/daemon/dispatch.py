"""Hands arrivals and unfinished jobs to the daemon's threads, a few at a time, and tries again what did not work."""

from __future__ import annotations

import queue
import traceback
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from hotfolder.config.studio import Route
from hotfolder.daemon.arrivals import Arrival, Arrivals
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.gates import Gates
from hotfolder.daemon.jobs import Finished, Jobs
from hotfolder.daemon.spool import Damaged, Spool
from hotfolder.names import printable

_LONGEST_PAUSE = 60.0
_FORGOTTEN = 3600.0  # artwork that was not tried for so long was taken away by somebody
_TRIES_BEFORE_IDLE = 4  # something tried in vain so often does not count as work that is left

#: What threads, the watcher and signal handlers want done in the daemon's own thread; its `put` is safe in all three.
Inbox = queue.SimpleQueue[Callable[[], None]]


@dataclass
class _Later:
    """Something to be tried again: when, and how often it was tried."""

    when: float
    tries: int = 0
    died: bool = False

    def put_off(self, now: float) -> None:
        self.when = now + min(0.5 * 2 ** min(self.tries, 10), _LONGEST_PAUSE)
        self.tries += 1

    @property
    def worth_telling(self) -> bool:
        """The first try, the second, the fourth ...: what goes wrong for a day must not fill the log."""
        return self.tries & (self.tries - 1) == 0


class Dispatch:
    """What runs, what may run next, what has to wait. Everything but the jobs is done in the daemon's own thread."""

    def __init__(
        self,
        workers: int,
        spool: Spool,
        jobs: Jobs,
        watched: Sequence[tuple[Route, Arrivals]],
        clock: Callable[[], float],
        inbox: Inbox,
        gates: Gates,
    ) -> None:
        self._gates = gates
        self._workers = 0
        self._spool = spool
        self._jobs = jobs
        self._watched = watched
        self._clock = clock
        self._inbox = inbox
        self._pools: list[ThreadPoolExecutor] = []
        self.set_workers(workers)
        self._running: dict[Future[Finished | None], str] = {}
        self._taking: dict[str, Path] = {}  # job -> the artwork it is about to take
        self._later: dict[str, _Later] = {}  # by job
        self._paused: dict[Path, _Later] = {}  # artwork that could not be taken

    @property
    def busy(self) -> bool:
        return bool(self._running)

    def set_workers(self, workers: int) -> None:
        """How many jobs may be at work from now on; those that are go on."""
        if workers != self._workers:
            for pool in self._pools:
                pool.shutdown(wait=False)
            self._workers = workers
            self._pools = [*self._pools[-1:], ThreadPoolExecutor(workers, "job")]

    @property
    def running(self) -> set[str]:
        """The jobs that are at work."""
        return set(self._running.values())

    @property
    def unfinished(self) -> int:
        """How many jobs stand in the spool and wait to be tried again."""
        return len(self._later)

    def line_up(self, job: str, *, died: bool = False) -> None:
        """Take up a job that stands in the spool, unless somebody is at it."""
        if not self.knows(job):
            self._later[job] = _Later(self._clock(), died=died)

    def knows(self, job: str) -> bool:
        return job in self._later or job in self._running.values()

    def idle(self) -> bool:
        """Whether nothing runs, waits, or has yet to come to rest."""
        return not (
            self._running
            or any(later.tries < _TRIES_BEFORE_IDLE for later in self._later.values())
            or any(arrivals.waiting for _, arrivals in self._watched)
            or any(self._tries(arrival) < _TRIES_BEFORE_IDLE for _, arrival in self._candidates())
        )

    def hurry(self) -> None:
        """Try at once what waits to be tried again: what was in its way is gone."""
        for later in (*self._later.values(), *self._paused.values()):
            later.when = self._clock()

    @property
    def work_left(self) -> bool:
        """Whether anything waits to be taken or to be tried again, be it paused or not."""
        return bool(self._later) or any(arrivals.ready for _, arrivals in self._watched)

    def pause(self) -> float:
        """Seconds until something is to be tried again."""
        waits = [later.when for later in (*self._later.values(), *self._paused.values()) if later.when > self._clock()]
        return min(waits, default=float("inf")) - self._clock()

    def close(self) -> None:
        for pool in self._pools:
            pool.shutdown()

    # ---- handing out

    def feed(self) -> None:
        """Give the free threads something to do: unfinished jobs first, then arrivals, of each route in turn.

        OSError where the spool can't be used.
        """
        now, free = self._clock(), self._workers - len(self._running)
        running = set(self._running.values())
        for job, later in list(self._later.items()):
            if free > 0 and later.when <= now and job not in running:
                died, later.died = later.died, False
                self._submit(job, partial(self._jobs.resume, job, self._jobs.terms, died=died))
                free -= 1
        for route, arrival in self._candidates() if free > 0 else ():
            paused = self._paused.get(arrival.path)
            if paused is None or paused.when <= now:
                self._take(route, arrival)
                free -= 1
                if free <= 0:
                    return

    def _candidates(self) -> Iterator[tuple[Route, Arrival]]:
        """What may be taken: of each route the first, then of each the second, and so on."""
        taking = set(self._taking.values())
        lines = [
            [(route, arrival) for arrival in arrivals.ready if self._may_take(route, arrival, taking)]
            for route, arrivals in self._watched
        ]
        for turn in range(max(map(len, lines), default=0)):
            for line in lines:
                if turn < len(line):
                    yield line[turn]

    def _may_take(self, route: Route, arrival: Arrival, taking: set[Path]) -> bool:
        return arrival.path not in taking and self._gates.open(route, arrival.folder)

    def _tries(self, arrival: Arrival) -> int:
        paused = self._paused.get(arrival.path)
        return paused.tries if paused else 0

    def _take(self, route: Route, arrival: Arrival) -> None:
        try:
            job = self._spool.new_id()
        except OSError:
            self._paused.setdefault(arrival.path, _Later(0)).put_off(self._clock())
            raise
        self._taking[job] = arrival.path
        taken = partial(self._inbox.put, partial(self._taken, job, arrival.path))
        self._submit(job, partial(self._jobs.begin, job, arrival, route, taken, self._jobs.terms))

    def _submit(self, job: str, call: Callable[[], Finished | None]) -> None:
        future = self._pools[-1].submit(call)
        self._running[future] = job
        future.add_done_callback(lambda _: self._inbox.put(nothing))

    def _taken(self, job: str, path: Path) -> None:
        self._taking.pop(job, None)
        self._paused.pop(path, None)
        self._forget(path)

    def _forget(self, path: Path) -> None:
        for _, arrivals in self._watched:
            arrivals.forget(path)

    # ---- what came of it

    def collect(self) -> Iterator[Finished | Event | None]:
        """What has ended since: a finished job, news of one that must wait, or None for one that went back."""
        for future in [future for future in self._running if future.done()]:
            job = self._running.pop(future)
            taking = self._taking.pop(job, None)
            error = future.exception()
            if error is None:
                self._later.pop(job, None)
                yield future.result()
            elif isinstance(error, Damaged):
                self._later.pop(job, None)
                words = "Its folder in the spool can't be understood; it was moved to `damaged` there."
                yield Event(What.DAMAGED, job=job, words=words)
            else:
                yield self._failed(job, taking, error)

    def _failed(self, job: str, taking: Path | None, error: BaseException) -> Event | None:
        later = self._later.setdefault(job, _Later(0))
        later.put_off(self._clock())
        # The edge around one job: whatever went wrong in it, the daemon goes on.
        trace = "" if isinstance(error, OSError) else "".join(traceback.format_exception(error))
        words = getattr(error, "strerror", None) or f"{type(error).__name__}: {error}"
        told = self._gates.doubt(error, taking.parent if taking is not None else None)
        if taking is None:
            again = Event(What.AGAIN, job=job, words=f"{words}. The job is safe and is tried again.", trace=trace)
            return again if later.worth_telling and not told else None
        now = self._clock()
        self._paused = {path: each for path, each in self._paused.items() if now - each.when < _FORGOTTEN}
        paused = self._paused.setdefault(taking, _Later(0))
        paused.put_off(now)
        self._forget(taking)
        again = Event(
            What.AGAIN,
            file=printable(taking.name),
            folder=printable(str(taking.parent)),
            words=f"The file could not be taken: {words}. It is tried again.",
            trace=trace,
        )
        return again if paused.worth_telling and not told else None


def nothing() -> None:
    """Only wakes the daemon's thread."""
