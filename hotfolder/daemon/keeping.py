"""Clears away what is older or more than the config lets stay, a little at a time while nothing else is to be done.

It removes originals of passed jobs from the spool, lines of the ledger, and, only where the config says so, results. It
will not remove what it did not put there itself, what was changed since, or what belongs to a job without its outcome.
"""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from hotfolder.config.studio import Keep
from hotfolder.daemon.claiming import out_name
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.files import Files
from hotfolder.daemon.ledger import Ledger
from hotfolder.daemon.spool import CLAIM, PUBLISHED, Spool
from hotfolder.finding import Outcome
from hotfolder.names import printable
from hotfolder.record import JobRecord
from hotfolder.work import RECORD

_EVERY = 3600.0  # seconds between two rounds
_PORTION = 0.05  # seconds of work at once
_ROWS = 50  # of the ledger at once
_TRUST = 3600.0  # so far the clock may differ from what it should show
_CLEARED = "cleared"  # in a job's folder: its results were dealt with


@dataclass
class _Clock:
    """Whether the time of day can be believed: a clock set to a wrong year must not clear away a studio's work."""

    steady: Callable[[], float]
    now: Callable[[], float]

    def __post_init__(self) -> None:
        self._begin()

    def _begin(self) -> None:
        self._since, self._offset = self.steady(), self.now() - self.steady()

    def believed(self) -> bool:
        """It has run for an hour without being set."""
        if abs(self.now() - self.steady() - self._offset) > _TRUST:
            self._begin()
        return self.steady() - self._since >= _EVERY


class Keeping:
    """`work` does a portion. `steady` is a clock that never jumps, `now` the time of day."""

    def __init__(
        self,
        spool: Spool,
        ledger: Ledger,
        keep: Keep,
        tell: Callable[[Event], None],
        steady: Callable[[], float] = time.monotonic,
        now: Callable[[], float] = time.time,
    ) -> None:
        self.keep = keep
        self._spool, self._ledger, self._tell, self._steady, self._now = spool, ledger, tell, steady, now
        self._files: Files = spool.files
        self._old = spool.root / "old"
        self._clock = _Clock(steady, now)
        self._round: Iterator[None] | None = None
        self._next = steady()

    def work(self) -> None:
        """A portion of the round, or the beginning of the next one when it is time. It never raises."""
        if self._round is None:
            if self._steady() < self._next or not self._clock.believed():
                return
            self._round = self._go_round()
        end = self._steady() + _PORTION
        try:
            while self._steady() < end:
                next(self._round)
            return
        except StopIteration:
            pass
        except (OSError, sqlite3.Error) as error:
            words = f"Clearing away was broken off: {getattr(error, 'strerror', None) or error}. It is tried again."
            self._tell(Event(What.TROUBLE, words=words))
        self._round, self._next = None, self._steady() + _EVERY

    # ---- one round

    def _go_round(self) -> Iterator[None]:
        yield from self._empty_old()
        yield from self._results()
        yield from self._originals_by_age()
        yield from self._originals_by_size()
        if self.keep.jobs_days is not None:
            before = self._before(self.keep.jobs_days)
            while self._ledger.drop(before, _ROWS):
                yield

    def _before(self, days: float) -> dt.datetime:
        return dt.datetime.fromtimestamp(self._now() - days * 86_400, dt.UTC)

    def _older_than(self, days: float) -> Iterator[Path]:
        """Jobs whose files stood where they belong so long ago, the oldest first."""
        before = self._before(days)
        # A job's name begins with the local time at which it was taken: no later one needs to be looked at.
        last = f"{before.astimezone() + dt.timedelta(days=1):%Y%m%d-%H%M%S}"
        for entry in self._files.list(self._spool.done):
            if entry.name > last:
                return
            published = self._files.look(Path(entry.path) / PUBLISHED)
            if published is not None and published.mtime_ns < before.timestamp() * 1e9:
                yield Path(entry.path)

    def _originals_by_age(self) -> Iterator[None]:
        if self.keep.originals_days is None:
            return
        for home in self._older_than(self.keep.originals_days):
            if self._may_go(home):
                self._remove(home)
            yield

    def _originals_by_size(self) -> Iterator[None]:
        if self.keep.originals_mb is None:
            return
        room = self.keep.originals_mb * 1e6
        for entry in reversed(self._files.list(self._spool.done)):
            home = Path(entry.path)
            room -= sum(path.lstat().st_size for path in home.glob("*/*"))
            if room < 0 and self._files.there(home / PUBLISHED) and self._may_go(home):
                self._remove(home)
            yield

    def _may_go(self, home: Path) -> bool:
        """Not while the ledger could still be told of it, nor before its results were dealt with."""
        outcomes = self.keep.pass_days, self.keep.hold_days
        return outcomes == (None, None) or self._files.there(home / _CLEARED)

    def _remove(self, home: Path) -> None:
        """One rename first: a folder that is half removed must not be taken for an unfinished job."""
        self._files.mkdir(self._old)
        self._files.rename(home, self._old / home.name)
        self._files.remove_tree(self._old / home.name)

    def _empty_old(self) -> Iterator[None]:
        if self._files.there(self._old):
            for entry in self._files.list(self._old):  # killed while it was removed
                self._files.remove_tree(Path(entry.path))
                yield

    # ---- results

    def _results(self) -> Iterator[None]:
        days = {Outcome.PASS: self.keep.pass_days, Outcome.HOLD: self.keep.hold_days}
        asked = [each for each in days.values() if each is not None]
        if not asked:
            return
        for home in self._older_than(min(asked)):
            if not self._files.there(home / _CLEARED):
                self._clear(home, days)
            yield

    def _clear(self, home: Path, days: dict[Outcome, float | None]) -> None:
        """Remove what of a job stands in pass and hold and is old enough; note it when all of it is dealt with."""
        published = self._files.look(home / PUBLISHED)
        try:
            claim = json.loads(self._files.read(home / CLAIM))
            names = json.loads(self._files.read(home / PUBLISHED))
            parts = range(1, 1 + len(names))
            records = [JobRecord.model_validate_json(self._files.read(home / out_name(n) / RECORD)) for n in parts]
            folders = {Outcome.PASS: Path(claim["passed"]), Outcome.HOLD: Path(claim["hold"])}
        except (ValueError, KeyError, TypeError, FileNotFoundError):
            return  # nothing is removed of what can't be understood
        age = (self._now() - published.mtime_ns / 1e9) / 86_400 if published is not None else 0
        waits = False
        for record in records:
            assert record.outcome is not None
            limit = days[record.outcome]
            if limit is not None and age < limit:
                waits = True
            elif limit is not None:
                self._clear_group(record, folders[record.outcome], names[record.job])
        if not waits:
            self._files.write(home / _CLEARED, b"")

    def _clear_group(self, record: JobRecord, folder: Path, names: list[str]) -> None:
        self._spool.need(folder)
        wanted = record.result_digest if record.outcome is Outcome.PASS else record.digest
        artwork = folder / names[-1]
        if self._files.look(artwork) is not None and self._files.digest(artwork) != wanted:
            words = "It was changed since it was put there, so it is not cleared away."
            self._tell(Event(What.KEPT, record.route, record.job, printable(artwork.name), words=words))
            return
        for name in reversed(
            names
        ):  # the artwork first: without it the report is of no use, but not the other way round
            if self._files.look(folder / name) is not None:
                self._files.unlink(folder / name)
