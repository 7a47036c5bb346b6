"""Takes one piece of artwork with its tickets out of a watched folder, or finishes taking it after a crash."""

from __future__ import annotations

import datetime as dt
import errno
import os
from dataclasses import dataclass
from pathlib import Path

from hotfolder.daemon.arrivals import is_written_to
from hotfolder.daemon.files import Files, Stamp
from hotfolder.daemon.publish import Member, split_name

ASIDE = "aside"  # marks a claim whose artwork lies on another file system


@dataclass(frozen=True)
class Claim:
    """Where a job came from and where it is to go, written down before its artwork is moved."""

    job: str
    route: str
    name: str
    folder: str  # the watched folder, or the sub-folder of it, where the artwork lay
    subfolder: str
    tickets: tuple[str, ...]
    shared: tuple[str, ...]
    state: str  # why it was taken: ready, or what is wrong with it
    arrived: str  # ISO 8601 with zone
    passed: str
    hold: str

    @property
    def when(self) -> dt.datetime:
        return dt.datetime.fromisoformat(self.arrived)

    @property
    def source(self) -> Path:
        return Path(self.folder) / self.name

    @property
    def aside(self) -> Path:
        """Its hidden name in the watched folder, while it is copied from another file system."""
        return Path(self.folder) / f".hotfolder-{self.job}.taken"


def out_name(part: int) -> str:
    """The folder, below the attempt's, for what becomes of the artwork in the first, second ... size ordered."""
    return "out" if part == 1 else f"out-{part}"


@dataclass(frozen=True)
class Attempt:
    """One try at a job. Taking it over renames `folder`, so that nobody else's paths lead into it any more."""

    claim: Claim
    folder: Path
    number: int

    @property
    def original(self) -> Path:
        return self.folder / "original" / self.claim.name

    @property
    def out(self) -> Path:
        return self.folder / out_name(1)

    def tickets(self) -> tuple[Path, ...]:
        return tuple(
            self.folder / "tickets" / name for name in self.claim.tickets if (self.folder / "tickets" / name).is_file()
        )


class Changed(Exception):
    """The artwork changed in the instant it was taken."""


class Taker:
    """The moves out of the watched folder. OSError from any of them: nothing is lost, try again later."""

    def __init__(self, files: Files, spool: Path) -> None:
        self.files = files
        self.spool = spool

    def take(self, attempt: Attempt, stamp: Stamp) -> bool:
        """Whether the artwork is ours now. False: it changed or somebody else has it. Changed: it must go back."""
        claim = attempt.claim
        if self.files.look(claim.source) != stamp:
            return False
        try:
            self.files.rename(claim.source, attempt.original)
        except FileNotFoundError:
            if self.files.there(claim.source):
                raise
            return False  # another daemon was quicker
        except OSError as error:
            if error.errno != errno.EXDEV:
                raise
            return self._take_across(attempt, stamp)
        # A program that still writes has followed the file to here: what changed since the last look goes back.
        after = self.files.look(attempt.original)
        if after is None or not stamp.same_content(after) or written_to(attempt.original):
            raise Changed
        self.files.sync(attempt.original.parent)
        self.files.sync(Path(claim.folder))
        return True

    def _take_across(self, attempt: Attempt, stamp: Stamp) -> bool:
        """From another file system: one rename there settles who has it, then it is copied and checked."""
        claim = attempt.claim
        self.files.write(attempt.folder / ASIDE, b"")
        try:
            self.files.rename(claim.source, claim.aside)
        except FileNotFoundError:
            return False
        after = self.files.look(claim.aside)
        if after is None or not stamp.same_content(after) or written_to(claim.aside):
            self._rename_free(claim.aside, claim.source)
            return False
        self.files.sync(Path(claim.folder))
        self._bring(attempt)
        return True

    def _bring(self, attempt: Attempt) -> None:
        claim = attempt.claim
        half = attempt.folder / "original.part"
        self.files.copy(claim.aside, half)
        self.files.unlink(attempt.original)
        self.files.rename(half, attempt.original)
        self.files.sync(attempt.original.parent)
        self.files.unlink(claim.aside)

    def _rename_free(self, source: Path, target: Path) -> None:
        number, (stem, ending) = 1, split_name(target.name)
        while True:
            try:
                return self.files.rename(source, target.with_name(Member("", stem, ending).name(number, 255)))
            except FileExistsError:
                number += 1

    def take_tickets(self, attempt: Attempt) -> None:
        """Move the tickets after their artwork; one that other artwork needs too is copied."""
        claim = attempt.claim
        for name in claim.tickets:
            source, target = Path(claim.folder) / name, attempt.folder / "tickets" / name
            if self.files.look(source) is None:
                continue
            if self.files.look(target) is not None:
                if name not in claim.shared and self.files.digest(source) == self.files.digest(target):
                    self.files.unlink(source)  # copied before a crash, not removed yet
                continue
            if name not in claim.shared:
                try:
                    self.files.rename(source, target)
                    continue
                except FileNotFoundError:
                    if self.files.there(source):
                        raise
                    continue
                except OSError as error:
                    if error.errno != errno.EXDEV:
                        raise
            half = attempt.folder / "ticket.part"
            self.files.copy(source, half)
            self.files.rename(half, target)
            if name not in claim.shared:
                self.files.unlink(source)
        if claim.tickets:
            self.files.sync(attempt.folder / "tickets")
            self.files.sync(Path(claim.folder))

    def complete(self, attempt: Attempt) -> bool:
        """Finish a claim that was broken off; False where its artwork was never taken."""
        claim = attempt.claim
        have = self.files.look(attempt.original) is not None
        if any(self.files.same(ours, claim.source) for ours in (attempt.original, claim.aside)):
            self.files.unlink(claim.source)  # a move that was broken off leaves both names
        if self.files.there(attempt.folder / ASIDE):
            if self.files.look(claim.aside) is not None:
                if have:
                    self.files.unlink(claim.aside)  # the copy was checked before it got its name
                else:
                    self._bring(attempt)
                have = True
            elif not have and not self.files.there(claim.source) and self._same_disk(Path(claim.folder)):
                # It was on another disk when it was taken, and that disk is not to be seen now.
                raise OSError(errno.ENODEV, os.strerror(errno.ENODEV), claim.folder)
        if have:
            self.take_tickets(attempt)
        return have

    def _same_disk(self, folder: Path) -> bool:
        return folder.stat().st_dev == self.spool.stat().st_dev


def written_to(path: Path) -> bool:
    """Whether some program is known to have it open for writing."""
    try:
        return is_written_to(path)
    except OSError:
        return False
