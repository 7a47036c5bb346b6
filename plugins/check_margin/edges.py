"""Measures how far things stand from where the sheet is cut, side by side, as the page is looked at."""

from __future__ import annotations

from dataclasses import dataclass

from hotfolder.plugin import MM, Box

TOUCHES = 0.25 * MM  # letters this near to the trim count as cut off
LARGE = 0.5  # of the sheet's width or height
RING = ("left", "top", "right", "bottom")  # clockwise, as /Rotate turns


@dataclass(frozen=True)
class Edges:
    """Where a page is cut. `unit`: points to one unit of the page's space; `margin` and `slack` in points on paper."""

    trim: Box
    unit: float
    rotate: int
    margin: float
    slack: float

    def distances(self, box: Box) -> dict[str, float]:
        """Points on paper from each side of the trim inwards; negative beyond it."""
        trim, turn = self.trim, self.rotate // 90
        plain = (box.left - trim.left, trim.top - box.top, trim.right - box.right, box.bottom - trim.bottom)
        return {RING[(at + turn) % 4]: length * self.unit for at, length in enumerate(plain)}

    def near(self, box: Box) -> dict[str, float]:
        """The sides to which something is nearer than the margin."""
        return {side: far for side, far in self.distances(box).items() if far < self.margin - self.slack}

    def outside(self, box: Box) -> bool:
        """Whether nothing of it is left when the sheet is cut."""
        trim = self.trim
        return box.right <= trim.left or box.left >= trim.right or box.top <= trim.bottom or box.bottom >= trim.top

    def share(self, box: Box) -> float:
        """How much of the sheet's area a box covers."""
        kept = self.trim.common(box)
        return 0.0 if kept is None else kept.width * kept.height / (self.trim.width * self.trim.height)

    def length(self, box: Box) -> float:
        """How much of the sheet's width or height a box takes, whichever is more."""
        return max(box.width / self.trim.width, box.height / self.trim.height)

    def large(self, box: Box) -> bool:
        return self.length(box) >= LARGE


@dataclass(frozen=True)
class Thing:
    """Something to be told of: a phrase, or a part of the art. `near`: the sides it is too near to, and how near."""

    kind: str  # text, picture, drawing, art
    box: Box
    near: dict[str, float]
    words: str = ""
    size: float = 0.0  # of text, points on paper
    count: int = 1  # how many like it, one below the other

    @property
    def nearest(self) -> float:
        return min(self.near.values())

    @property
    def cut(self) -> bool:
        return self.nearest <= TOUCHES
