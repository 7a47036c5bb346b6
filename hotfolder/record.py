"""The record of a job as plain data: what the log, the report, the ledger and the commands all read."""

from __future__ import annotations

import datetime as dt
import re
from enum import StrEnum

from pydantic import BaseModel, ConfigDict, Field

from hotfolder.finding import Finding, Level, Outcome
from hotfolder.ink import PageInk
from hotfolder.ticket import MOST_SIZES, Ticket


class Ended(StrEnum):
    """How a step's work on a job ended."""

    DONE = "done"
    SKIPPED = "skipped"  # another kind of file, or the job is held already
    HELD = "held"  # it raised Hold
    FAULT = "fault"  # it failed in a way its author did not foresee


class StepRecord(BaseModel):
    """What one step did with the job."""

    model_config = ConfigDict(extra="forbid")

    step: str
    ended: Ended
    seconds: float = 0.0
    told: list[str] = Field(default_factory=list)  # plain sentences: what was checked or done
    changed: bool = False  # the working PDF's bytes differ afterwards
    trace: str | None = None  # the traceback of a fault, for the log


_PART = re.compile(r"-\d+of(\d+)$")


def part_id(arrival: str, part: int, parts: int) -> str:
    """The id of one job of several that were born from one arrival: `20261125-101500-3f2a91-2of3`."""
    return f"{arrival}-{part}of{parts}" if parts > 1 else arrival


def arrival_of(job: str) -> tuple[str, int]:
    """The id of the arrival that a job was born from, and how many jobs were."""
    found = _PART.search(job)
    return (job[: found.start()], int(found[1])) if found else (job, 1)


class JobRecord(BaseModel):
    """Everything that is remembered of one job."""

    model_config = ConfigDict(extra="forbid")

    job: str
    part: int = 1  # which of the sizes that were ordered of one arrival
    sizes: list[str] = Field(
        default_factory=list, max_length=MOST_SIZES
    )  # all of these; empty where there is one or none
    file: str  # the artwork's name as it was dropped, made printable
    route: str
    arrived: dt.datetime
    finished: dt.datetime | None = None
    outcome: Outcome | None = None
    kind: str = ""  # "pdf", "jpeg", ... by content; empty when it is none we know
    bytes: int = 0
    digest: str = ""  # SHA-256 of the original's bytes, hexadecimal
    attempt: int = 1
    ticket: Ticket = Field(default_factory=Ticket)
    origins: dict[str, str] = Field(default_factory=dict)  # ticket key -> what decided it
    condition: str = ""  # the printing condition's title
    findings: list[Finding] = Field(default_factory=list)
    steps: list[StepRecord] = Field(default_factory=list)
    ink: list[PageInk] = Field(default_factory=list)  # page by page, where a step has measured it
    result_stem: str = ""  # name of the result without its ending
    result_digest: str | None = None  # SHA-256 of the finished PDF

    def at_level(self, level: Level) -> list[Finding]:
        return [finding for finding in self.findings if finding.level is level]

    @property
    def arrival(self) -> str:
        """The id under which its artwork was taken; jobs for several sizes share it."""
        return self.job.removesuffix(part_id("", self.part, len(self.sizes)))

    @property
    def shown_file(self) -> str:
        """The artwork's name, with the size where several were ordered."""
        return f"{self.file} ({self.sizes[self.part - 1]})" if self.sizes else self.file

    @property
    def reason(self) -> str:
        """The outcome's reason in a few words: the first hold finding's sentence, or what was mended."""
        held = self.at_level(Level.HOLD)
        if held:
            more = f" (and {len(held) - 1} more)" if len(held) > 1 else ""
            return held[0].message + more
        notes = len(self.at_level(Level.NOTE))
        return "ready for print" + (f", {notes} note{'s' if notes > 1 else ''}" if notes else "")
