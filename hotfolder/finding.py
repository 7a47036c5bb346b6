"""One thing noticed about a job, in words that tell its maker what is wrong and what to do."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple, TypedDict, Unpack

from PIL import Image
from pydantic import BaseModel, ConfigDict

#: Pictures that steps made for their findings: by step and code, each with the words that stand below it in the report.
Views = dict[tuple[str, str], list[tuple[str, Image.Image]]]


class Level(StrEnum):
    """How much a finding matters."""

    HOLD = "hold"  # a person must look
    NOTE = "note"  # recorded, nothing more
    MENDED = "mended"  # a step changed it, and says what and how


class Outcome(StrEnum):
    """What a job ends with; nothing else leaves the daemon."""

    PASS = "pass"
    HOLD = "hold"


class Box(NamedTuple):
    """A place on a page: left, bottom, right, top in points of the page's own user space (ISO 32000-1 7.9.5)."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom

    def grown(self, by: float) -> Box:
        """The box with every side moved outwards by so many points."""
        return Box(self.left - by, self.bottom - by, self.right + by, self.top + by)

    def within(self, other: Box, slack: float = 0.0) -> bool:
        """Whether this box lies inside the other, give or take `slack` points."""
        return (
            self.left >= other.left - slack
            and self.bottom >= other.bottom - slack
            and self.right <= other.right + slack
            and self.top <= other.top + slack
        )

    def common(self, other: Box) -> Box | None:
        """The part both boxes share, or None where they do not meet."""
        left, bottom = max(self.left, other.left), max(self.bottom, other.bottom)
        right, top = min(self.right, other.right), min(self.top, other.top)
        return Box(left, bottom, right, top) if left < right and bottom < top else None


class Finding(BaseModel):
    """What was noticed, where, and how to mend it. `page` counts from 1."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    code: str
    level: Level
    message: str
    measured: str | None = None
    required: str | None = None
    page: int | None = None
    box: Box | None = None
    mend: str | None = None
    step: str | None = None


class About(TypedDict, total=False):
    """What may be said of a finding beside its code and its sentence."""

    measured: str | None
    required: str | None
    page: int | None  # from 1
    box: Box | None
    mend: str | None


class Hold(Exception):
    """Raised by a step that cannot go on until a person has looked. Carries the finding."""

    def __init__(self, code: str, message: str, **about: Unpack[About]) -> None:
        super().__init__(message)
        self.finding = Finding(code=code, level=Level.HOLD, message=message, **about)
