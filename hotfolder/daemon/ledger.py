"""Remembers every job: whose file, which bytes, when, and what became of it. The folders hold the truth, not this.

A ledger that was lost is made again from the spool; one that can't be opened is set aside, never thrown away.
"""

from __future__ import annotations

import datetime as dt
import os
import sqlite3
import threading
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from hotfolder.daemon.files import Files, on_network
from hotfolder.errors import ConfigError
from hotfolder.finding import Finding
from hotfolder.record import JobRecord, arrival_of

VERSION = 3
_SCHEMA = """
CREATE TABLE jobs (
  job TEXT PRIMARY KEY,
  route TEXT NOT NULL,
  file TEXT NOT NULL,                 -- the artwork's name, made printable
  digest TEXT NOT NULL DEFAULT '',    -- SHA-256 of its bytes
  state TEXT NOT NULL,                -- claimed, committed, published
  attempts INTEGER NOT NULL DEFAULT 1,
  outcome TEXT,
  arrived TEXT NOT NULL,
  finished TEXT,
  record TEXT                         -- the whole record, JSON
) STRICT;
CREATE INDEX jobs_by_digest ON jobs (digest);
CREATE INDEX jobs_by_state ON jobs (state);
"""
_HAND_OVERS = """
CREATE TABLE hand_overs (
  job TEXT NOT NULL,
  place TEXT NOT NULL,                -- folder or address, without name and password
  state TEXT NOT NULL,                -- waiting, trying, done, failed
  tries INTEGER NOT NULL,
  words TEXT NOT NULL,                -- why the last try failed
  told TEXT NOT NULL,                 -- when
  PRIMARY KEY (job, place)
) STRICT;
"""
#: What makes a ledger of each earlier version one of the next.
_UPGRADES = {
    0: _SCHEMA,
    1: _HAND_OVERS,
    2: "CREATE INDEX IF NOT EXISTS jobs_by_arrived ON jobs (arrived, job); "
    "CREATE INDEX IF NOT EXISTS hand_overs_by_state ON hand_overs (state);",
}
_READABLE = {2, VERSION}  # as it is, by who only looks

#: What SQLite calls a file that is no ledger of ours; a busy or unreachable one is another matter.
_DAMAGED = {"SQLITE_NOTADB", "SQLITE_CORRUPT", "SQLITE_ERROR", "SQLITE_FORMAT"}


_BROKEN = ("SQLITE_NOTADB", "SQLITE_CORRUPT")  # of a ledger in use, whatever was asked of it


@dataclass(frozen=True)
class Entry:
    """One line of the ledger."""

    job: str
    route: str
    file: str
    digest: str
    state: str
    attempts: int
    outcome: str | None
    arrived: str
    finished: str | None


@dataclass(frozen=True)
class HandOver:
    """One job's way to one place."""

    job: str
    place: str
    state: str
    tries: int
    words: str
    told: str


_COLUMNS = "job, route, file, digest, state, attempts, outcome, arrived, finished"


class Ledger:
    """The ledger of one spool, used by the daemon's threads in turn.

    `aside` tells where a damaged one lies now; `damaged`, that SQLite has found it to be so since; `behind`, that something
    could not be written down. ConfigError where it lies on another machine's disk. `look`: to read only, beside a daemon
    that may be at work; then nothing is made, changed or set aside.
    """

    def __init__(self, path: Path, files: Files | None = None, *, look: bool = False) -> None:
        if on_network(path.parent):
            raise ConfigError(
                [
                    f"The spool {path.parent} lies on another machine's disk, where the ledger's locks can't be trusted. "
                    "Set `spool` to a folder on a disk of this machine."
                ]
            )
        self.path = path
        self.aside: Path | None = None
        self.damaged = self.behind = False
        self._files = files or Files()
        self._lock = threading.Lock()
        self._process = os.getpid()
        self._look = look
        try:
            self._connection = self._open()
        except sqlite3.DatabaseError as error:
            if look or getattr(error, "sqlite_errorname", "SQLITE_NOTADB") not in _DAMAGED:
                raise ConfigError([f"The ledger {path} can't be opened: {error}."]) from error
            self.aside = self._set_aside()
            self._connection = self._open()

    def renew(self) -> None:
        """Set a ledger aside that was found damaged while in use, and begin an empty one."""
        with self._lock:
            self._connection.close()
            self.aside = self._set_aside()
            self._connection = self._open()
            self.damaged = False

    def _open(self) -> sqlite3.Connection:
        where = f"{self.path.absolute().as_uri()}?mode={'ro' if self._look else 'rwc'}"
        connection = sqlite3.connect(where, uri=True, timeout=10, isolation_level=None, check_same_thread=False)
        try:
            if self._look:
                self._known(connection.execute("PRAGMA user_version").fetchone()[0], _READABLE)
                return connection
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            version = connection.execute("PRAGMA user_version").fetchone()[0]
            self._known(version, {*_UPGRADES, VERSION})
            if version != VERSION:
                made = "".join(_UPGRADES[each] for each in range(version, VERSION))
                connection.executescript(f"BEGIN IMMEDIATE; {made} PRAGMA user_version = {VERSION}; COMMIT;")
            connection.execute(f"SELECT {_COLUMNS} FROM jobs LIMIT 1")
        except BaseException:
            connection.close()
            raise
        return connection

    def _known(self, version: int, known: set[int]) -> None:
        if version not in known:
            raise sqlite3.DatabaseError(f"the ledger has version {version}, this program knows {VERSION}")

    def _set_aside(self) -> Path:
        number = 1
        while (aside := self.path.with_name(f"{self.path.name}.damaged-{number}")).exists():
            number += 1
        for ending in ("-wal", "-shm", ""):
            part = self.path.with_name(self.path.name + ending)
            if part.exists():
                part.rename(aside.with_name(aside.name + ending))
        return aside

    def _run(self, sql: str, values: tuple[object, ...] = ()) -> list[tuple[object, ...]]:
        # A connection carried into a forked process corrupts the database (sqlite.org, "How To Corrupt").
        if os.getpid() != self._process:
            raise RuntimeError("the ledger was opened by another process")
        with self._lock:
            try:
                return self._connection.execute(sql, values).fetchall()
            except sqlite3.DatabaseError as error:
                self.damaged = self.damaged or getattr(error, "sqlite_errorname", "").startswith(_BROKEN)
                raise

    def _write(self, sql: str, values: tuple[object, ...]) -> None:
        try:
            self._files.point("before", "ledger", self.path)
            self._run(sql, values)
            self._files.point("after", "ledger", self.path)
        except sqlite3.Error:
            self.behind = True
            raise

    # ---- writing

    def claimed(self, job: str, route: str, file: str, arrived: dt.datetime, attempts: int) -> None:
        self._write(
            "INSERT INTO jobs (job, route, file, state, attempts, arrived) VALUES (?, ?, ?, 'claimed', ?, ?) "
            "ON CONFLICT (job) DO UPDATE SET attempts = excluded.attempts",
            (job, route, file, attempts, _utc(arrived)),
        )

    def put_back(self, job: str) -> None:
        """The job is as if it had never been taken."""
        self._write("DELETE FROM jobs WHERE job = ? AND state = 'claimed'", (job,))

    def settled(self, record: JobRecord, state: str) -> None:
        """The job has its outcome; `state` says whether its files stand where they belong ("published").

        Where several sizes were ordered, their jobs take the place of the one under which the artwork was taken.
        """
        self._write(
            f"INSERT INTO jobs ({_COLUMNS}, record) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "
            "ON CONFLICT (job) DO UPDATE SET digest = excluded.digest, state = excluded.state, "
            "attempts = excluded.attempts, outcome = excluded.outcome, finished = excluded.finished, "
            "record = excluded.record",
            (
                record.job,
                record.route,
                record.file,
                record.digest,
                state,
                record.attempt,
                record.outcome.value if record.outcome else None,
                _utc(record.arrived),
                _utc(record.finished) if record.finished else None,
                record.model_dump_json(),
            ),
        )
        if record.sizes:
            self.put_back(record.arrival)

    def hand_over(self, job: str, place: str, state: str, tries: int = 0, words: str = "") -> None:
        """How far a passed job's way to another place is; "waiting" does not undo what is known already."""
        update = (
            "UPDATE SET state = excluded.state, tries = excluded.tries, words = excluded.words, told = excluded.told"
        )
        self._write(
            "INSERT INTO hand_overs (job, place, state, tries, words, told) VALUES (?, ?, ?, ?, ?, ?) "
            f"ON CONFLICT (job, place) DO {'NOTHING' if state == 'waiting' else update}",
            (job, place, state, tries, words, _utc(dt.datetime.now(dt.UTC))),
        )

    def note(self, job: str, code: str, finding: Finding | None) -> None:
        """Put a note into a job's record in place of an earlier one with this code; None takes that away."""
        record = self.record(job)
        if record is None:
            return
        others = [each for each in record.findings if each.code != code]
        record.findings = others + ([finding] if finding is not None else [])
        self._write("UPDATE jobs SET record = ? WHERE job = ?", (record.model_dump_json(), job))

    def drop(self, before: dt.datetime, most: int) -> int:
        """Forget finished jobs that arrived before this, the oldest first, so many at most; how many."""
        # The plus keeps SQLite from going by the state, which nearly all of them share (sqlite.org, "The SQLite Query Optimizer Overview", 8.1).
        rows = self._run(
            "DELETE FROM jobs WHERE job IN (SELECT job FROM jobs WHERE arrived < ? AND +state = 'published' "
            "ORDER BY arrived, job LIMIT ?) RETURNING job",
            (_utc(before), most),
        )
        for row in rows:
            self._run("DELETE FROM hand_overs WHERE job = ?", row)
        return len(rows)

    # ---- reading

    def hand_overs(self, job: str | None = None) -> list[HandOver]:
        """Where passed jobs were sent on to and what came of it, of one job or all that have not arrived."""
        where, values = ("job = ?", (job,)) if job else ("state != 'done'", ())
        rows = self._run(f"SELECT job, place, state, tries, words, told FROM hand_overs WHERE {where}", values)
        return [HandOver(*row) for row in rows]  # type: ignore[arg-type]

    def entry(self, job: str) -> Entry | None:
        return next(iter(self._entries("WHERE job = ?", (job,))), None)

    def entries(self, state: str | None = None) -> list[Entry]:
        """All jobs in order of arrival, or those in one state."""
        return (
            self._entries("WHERE state = ? ORDER BY arrived, job", (state,))
            if state
            else self._entries("ORDER BY arrived, job")
        )

    def latest(self, count: int) -> list[Entry]:
        """The jobs that arrived last, the latest at the end."""
        return self._entries("ORDER BY arrived DESC, job DESC LIMIT ?", (count,))[::-1]

    def settled_arrivals(self) -> set[str]:
        """The arrivals of which every job is written down with its outcome."""
        have: Counter[str] = Counter()
        want: dict[str, int] = {}
        for (job,) in self._run("SELECT job FROM jobs WHERE state != 'claimed'"):
            arrival, sizes = arrival_of(str(job))
            have[arrival] += 1
            want[arrival] = sizes
        return {arrival for arrival, sizes in want.items() if have[arrival] == sizes}

    def record(self, job: str) -> JobRecord | None:
        rows = self._run("SELECT record FROM jobs WHERE job = ? AND record IS NOT NULL", (job,))
        return JobRecord.model_validate_json(str(rows[0][0])) if rows else None

    def seen_before(self, digest: str, besides: str = "") -> list[Entry]:
        """Earlier jobs with the very same bytes, the latest first; not those born from the arrival `besides`."""
        return self._entries(
            "WHERE digest = ? AND digest != '' AND job != ? AND job NOT LIKE ? || '-%of%' "
            "ORDER BY arrived DESC, job DESC",
            (digest, besides, besides),
        )

    def _entries(self, where: str, values: tuple[object, ...] = ()) -> list[Entry]:
        return [Entry(*row) for row in self._run(f"SELECT {_COLUMNS} FROM jobs {where}", values)]  # type: ignore[arg-type]

    def close(self) -> None:
        with self._lock:
            self._connection.close()


def _utc(when: dt.datetime) -> str:
    """Sorts by time, whatever zone it was written in."""
    return when.astimezone(dt.UTC).isoformat(timespec="microseconds")
