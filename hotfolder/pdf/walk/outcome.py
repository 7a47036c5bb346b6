"""What a walk through a PDF hands back: what was changed, what was left as it is and why."""

from collections import Counter
from dataclasses import dataclass, field

from hotfolder.pdf.walk.state import Box


class CannotConvert(ValueError):
    """Raised where something can't be converted exactly; the message is the reason in plain words."""


class StaysAsFound(Exception):
    """Raised where the numbers of a picture or gradient turn out to need no change; `plan` says what to do instead."""

    def __init__(self, plan: object) -> None:
        super().__init__("its numbers stay")
        self.plan = plan


@dataclass(frozen=True, slots=True)
class Leftover:
    """Something left as it was found. `page` counts from 1; `box` is in the page's points where the place is known."""

    page: int
    what: str
    why: str
    box: Box | None = None


@dataclass(frozen=True, slots=True)
class Remark:
    """Something done that a person may want to know of: not wrong, but not nothing."""

    page: int
    what: str
    why: str


@dataclass(slots=True)
class WalkResult:
    """`changed` counts by kind: colours, pictures, gradients, spaces, groups, masks, streams."""

    leftovers: list[Leftover] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    changed: Counter[str] = field(default_factory=Counter)

    def leave(self, page: int, what: str, why: str, box: Box | None = None) -> None:
        """Notes a leftover once for each page, thing and reason."""
        if len(self.leftovers) < MOST_LEFTOVERS and not any(
            (x.page, x.what, x.why) == (page, what, why) for x in self.leftovers[-MOST_COMPARED:]
        ):
            self.leftovers.append(Leftover(page, what, why, box))

    def remark(self, page: int, what: str, why: str) -> None:
        found = Remark(page, what, why)
        if found not in self.remarks[-MOST_COMPARED:]:
            self.remarks.append(found)


MOST_COMPARED = 200
MOST_LEFTOVERS = 5000  # A job with one is held; more than this nobody reads.
