"""What the daemon tells those who watch it: a file was seen, a job began, a step ended, an outcome came."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class What(StrEnum):
    """The kinds of news."""

    WATCHING = "watching"  # a route's folder is looked through from now on
    CONFINED = "confined"  # what jobs are kept from on this system, and what they are not
    STARTED = "started"  # a file was taken, its job began
    STEP = "step"  # a step of it has ended
    FINISHED = "finished"  # it has its outcome, and its files stand where they belong
    PUT_BACK = "put_back"  # the file lies in the watched folder again
    AGAIN = "again"  # something was in the way; it is tried again by itself
    RECOVERED = "recovered"  # a job that an earlier daemon left unfinished
    SEEN_BEFORE = "seen_before"  # the same bytes came in an earlier job
    REFUSED = "refused"  # something in the folder that is not taken
    OPEN = "open"  # a file that another program does not let go of
    UNREACHABLE = "unreachable"  # a folder can't be looked at
    REACHABLE = "reachable"
    PAUSED = "paused"  # nothing is taken for now: no room, or a folder that may not be written to
    RESUMED = "resumed"
    NO_EVENTS = "no_events"  # a folder without events; it is looked through at intervals
    HANDED_OVER = "handed_over"  # a passed job's files have arrived where they were sent on to
    NOT_HANDED_OVER = "not_handed_over"  # they have not; the job's outcome stays as it is
    KEPT = "kept"  # old enough to be cleared away, but changed by somebody
    RELOADED = "reloaded"  # a changed config is in force for what comes from now on
    REFUSED_CONFIG = "config_refused"  # a changed config has mistakes; the old one stays in force
    TROUBLE = "trouble"  # a fault that concerns no one job
    DAMAGED = "damaged"  # a job's folder in the spool that can't be understood; it was set aside


@dataclass(frozen=True)
class Event:
    """One piece of news. Empty where it does not apply."""

    what: What
    route: str = ""
    job: str = ""
    file: str = ""  # the artwork's name, or a folder; made printable
    step: str = ""
    outcome: str = ""
    words: str = ""
    names: tuple[str, ...] = ()  # of what stands in pass or hold now
    folder: str = ""  # where
    trace: str = ""  # of a fault, for the daemon's log

    def __str__(self) -> str:
        """The news on one line."""
        parts = [self.what.value, self.route, self.job, self.file or self.folder, self.step, self.outcome, self.words]
        return "  ".join(part for part in parts if part)
