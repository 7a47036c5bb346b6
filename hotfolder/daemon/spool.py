"""The only code that takes artwork out of a watched folder, keeps it while it is worked on, and hands it on.

A job is a folder, and where that folder stands says how far the job is: `work/<job>/a<N>-<chance>` while it is worked
on, `done/<job>` once its outcome is settled. Every change of state is one rename.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import json
import os
import secrets
from collections.abc import Callable, Container, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from hotfolder.daemon.arrivals import Arrival
from hotfolder.daemon.claiming import Attempt, Changed, Claim, Taker, out_name, written_to
from hotfolder.daemon.files import Files, Stamp
from hotfolder.daemon.publish import Member, put, split_name
from hotfolder.daemon.ways_out import hand_on, ticket_member, tidy
from hotfolder.finding import Outcome
from hotfolder.record import JobRecord
from hotfolder.ticket import MOST_SIZES
from hotfolder.work import LOG, PROOF, RECORD, REPORT, RESULT

CLAIM, PUBLISHED, RETURN = "claim.json", "published.json", "return"


@dataclass(frozen=True)
class Published:
    """A job whose files stand where they belong, under these names, the artwork last."""

    record: JobRecord
    names: list[str]


class Fenced(Exception):
    """Somebody else has taken the job over; this attempt's folder is gone and its work is void."""


class Damaged(Exception):
    """The job's folder can't be understood; it was set aside, nothing of it was thrown away."""


class Spool:
    """The spool folder. OSError from any of this means: nothing is lost, try the job again later."""

    def __init__(self, root: Path, files: Files | None = None) -> None:
        self.root = root
        self.files = files or Files()
        self.need: Callable[[Path], None] = lambda folder: None  # raises where that folder's disk is away
        self.work, self.done, self.damaged = root / "work", root / "done", root / "damaged"
        for folder in (self.work, self.done, self.damaged):
            self.files.mkdir_lasting(folder)
        self._taker = Taker(self.files, root)

    # ---- taking

    def new_id(self) -> str:
        """A job's name: sorts by time, safe on every disk."""
        while True:
            job = f"{dt.datetime.now():%Y%m%d-%H%M%S}-{secrets.token_hex(3)}"
            if not self.files.there(self.work / job) and not self.files.there(self.done / job):
                return job

    def claim(self, job: str, arrival: Arrival, passed: Path, hold: Path) -> Attempt | None:
        """Take an arrival into the spool; None where it changed meanwhile or somebody else took it."""
        claim = Claim(
            job=job,
            route=arrival.route,
            name=arrival.name,
            folder=os.fspath(arrival.folder),
            subfolder=arrival.subfolder,
            tickets=arrival.tickets,
            shared=tuple(sorted(arrival.shared)),
            state=arrival.state.value,
            arrived=dt.datetime.now().astimezone().isoformat(),
            passed=os.fspath(passed),
            hold=os.fspath(hold),
        )
        attempt = Attempt(claim, self.work / job / f"a1-{secrets.token_hex(4)}", 1)
        for name in ("original", "tickets", "out"):
            self.files.mkdir(attempt.folder / name)
        self.files.write(attempt.folder / CLAIM, json.dumps(asdict(claim)).encode())
        self.files.sync(attempt.folder.parent)
        self.files.sync(self.work)
        try:
            if self._taker.take(attempt, arrival.stamp):
                self._taker.take_tickets(attempt)
                return attempt
        except Changed:
            self.put_back(attempt)
            return None
        self._purge(attempt.folder)
        return None

    # ---- taking up again

    def claimed(self) -> list[str]:
        """Jobs that were taken and have no outcome yet."""
        return [entry.name for entry in self.files.list(self.work)]

    def committed(self) -> list[str]:
        """Jobs with an outcome whose files do not all stand where they belong yet."""
        names = [entry.name for entry in self.files.list(self.done)]
        return [name for name in names if not self.files.there(self.done / name / PUBLISHED)]

    def is_committed(self, job: str) -> bool:
        return self.files.there(self.done / job)

    def take_over(self, job: str, *, died: bool) -> Attempt | None:
        """Start a claimed job again, fencing off who may still be at it; None where there is nothing left to do.

        `died`: whoever was at it ended in the middle, which counts as an attempt.
        """
        home = self.work / job
        try:
            entries = [entry for entry in self.files.list(home) if entry.name.startswith("a")]
        except FileNotFoundError:
            return None
        if not entries:
            self.files.rmdir(home)
            return None
        newest = max(entries, key=lambda entry: _number(entry.name))
        number = _number(newest.name) + (1 if died else 0)
        folder = home / f"a{number}-{secrets.token_hex(4)}"
        self.files.rename(home / newest.name, folder)
        self.files.sync(home)
        if not self.files.there(folder / CLAIM):  # broken off before anything was taken
            self._purge(folder)
            return None
        attempt = Attempt(self._read_claim(folder, home), folder, number)
        if self.files.there(folder / RETURN):  # on its way back
            self.put_back(attempt)
            return None
        if not self._taker.complete(attempt):
            self._purge(folder)
            return None
        if written_to(attempt.original):
            self.put_back(attempt)
            return None
        for part in range(MOST_SIZES, 0, -1):
            if self.files.there(folder / out_name(part)):
                self.files.remove_tree(folder / out_name(part))
        self.files.mkdir(attempt.out)
        return attempt

    def _read_claim(self, folder: Path, home: Path) -> Claim:
        try:
            data = json.loads(self.files.read(folder / CLAIM))
            return Claim(**{**data, "tickets": tuple(data["tickets"]), "shared": tuple(data["shared"])})
        except (ValueError, TypeError, KeyError):
            self._set_aside(home)
            raise Damaged(home.name) from None

    def _set_aside(self, home: Path) -> None:
        self.files.rename(home, self.damaged / f"{home.name}-{secrets.token_hex(2)}")

    # ---- giving back

    def put_back(self, attempt: Attempt) -> None:
        """Return the artwork and its tickets to where they lay; the job is as if it had never been taken."""
        claim = attempt.claim
        self.need(Path(claim.folder))
        self.files.write(attempt.folder / RETURN, b"")
        members = [ticket_member(name) for name in claim.tickets]
        members.append(Member(f"original/{claim.name}", *split_name(claim.name)))
        put(self.files, claim.job, attempt.folder, self._folder_for(claim), members)
        self._purge(attempt.folder)

    def _folder_for(self, claim: Claim) -> Path:
        """Where it lay. A sub-folder that is gone is made again, but not the watched folder: its disk may be away."""
        folder = Path(claim.folder)
        levels = len(Path(claim.subfolder).parts)
        if self.files.there(folder.parents[levels - 1] if levels else folder):
            self.files.mkdir_lasting(folder)
        return folder

    def _purge(self, folder: Path) -> None:
        """Remove an attempt that holds no artwork, and its job."""
        for name in ("original", "tickets"):  # rmdir refuses where a customer's file is still inside
            self.files.rmdir(folder / name)
        self.files.remove_tree(folder.parent)

    # ---- handing on

    def unchanged(self, attempt: Attempt, stamp: Stamp | None) -> bool:
        """Whether the artwork is still what it was when the work on it began."""
        return stamp is not None and self.files.look(attempt.original) == stamp

    def room(self, attempt: Attempt, part: int) -> Path:
        """An empty folder for what becomes of the artwork in the `part`-th size."""
        folder = attempt.folder / out_name(part)
        self.files.mkdir(folder)
        return folder

    def prove(self, out: Path, record: JobRecord) -> None:
        """See that a worker's files are whole and on the disk. ValueError where they are not sound."""
        wanted = [LOG, REPORT, RECORD] + ([RESULT] if record.outcome is Outcome.PASS else [])
        for name in wanted:
            path = out / name
            if self.files.look(path) is None:
                raise ValueError(f"the worker left no {name}")
            self.files.sync(path)
        if record.outcome is Outcome.PASS and self.files.digest(out / RESULT) != record.result_digest:
            raise ValueError("the result differs from what the worker wrote down")
        if self.files.look(out / PROOF) is not None:
            self.files.sync(out / PROOF)
        self.files.sync(out)

    def commit(self, attempt: Attempt) -> Path:
        """Settle the outcome, or the outcomes of all sizes, by one rename; the job's folder.

        What stands in the attempt's folder must be proven before. Fenced where somebody else took the job over.
        """
        with contextlib.suppress(PermissionError):  # artwork that can't be read can't be synced either
            self.files.sync(attempt.original)
        for folder in (attempt.original.parent, attempt.folder / "tickets", attempt.folder):
            self.files.sync(folder)
        target = self.done / attempt.claim.job
        try:
            self.files.rename(attempt.folder, target)
        except FileNotFoundError as error:
            raise Fenced(attempt.claim.job) from error
        self.files.sync(self.done)
        self.files.rmdir(attempt.folder.parent)
        return target

    def settled(self, besides: Container[str] = ()) -> Iterator[tuple[JobRecord, bool]]:
        """Every job in the spool that has its outcome, and whether its files stand where they belong."""
        for name in [entry.name for entry in self.files.list(self.done) if entry.name not in besides]:
            home = self.done / name
            try:
                records = self._records(home)
            except (OSError, ValueError):
                continue
            published = self.files.there(home / PUBLISHED)
            yield from ((record, published) for record in records)

    def _records(self, home: Path) -> list[JobRecord]:
        """The record of the artwork's job, or of each of its jobs where several sizes were ordered."""
        first = JobRecord.model_validate_json(self.files.read(home / out_name(1) / RECORD))
        others = [self.files.read(home / out_name(part) / RECORD) for part in range(2, len(first.sizes) + 1)]
        return [first, *map(JobRecord.model_validate_json, others)]

    def publish(
        self, job: str, first: Callable[[Path, JobRecord], None] | None = None
    ) -> tuple[Claim, list[Published]]:
        """Bring a committed job's files to where they belong; may be repeated. One Published for each size ordered.

        `first` is called before anything moves, with the folder and the record of each job that passed.
        """
        home = self.done / job
        claim = self._read_claim(home, home)
        self.files.rmdir(self.work / job)  # left behind by a daemon that was killed right after the commit
        try:
            records = self._records(home)
        except (ValueError, FileNotFoundError):
            self._set_aside(home)
            raise Damaged(job) from None
        again = self.files.there(home / PUBLISHED)  # the power went before all that followed was on the disk
        for record in records:
            self.need(Path(claim.passed if record.outcome is Outcome.PASS else claim.hold))
            if first is not None and record.outcome is Outcome.PASS and not again:
                first(home / out_name(record.part), record)
        names = hand_on(self.files, job, home, claim, records)
        self.files.write(home / PUBLISHED, json.dumps(names).encode())
        tidy(self.files, home, records)
        return claim, [Published(record, names[record.job]) for record in records]


def _number(folder: str) -> int:
    digits = folder[1:].partition("-")[0]
    return int(digits) if digits.isdigit() else 0
