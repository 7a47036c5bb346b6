"""Works out how bleed is made where it is missing: which parts of the ring are drawn, from which part of the art.

All of it is geometry in the page's own user space; nothing is drawn or written here.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from hotfolder.finding import Box
from hotfolder.pdf.boxes import MOST_UNITS, SLACK, PageBoxes
from hotfolder.pdf.walk.state import Matrix

_EXTENDED = 6.0  # times that `extend` scales; much more, and readers that count in 16 bits lose the far ends of shapes
_INSET = 0.24  # points inside the edge where that line begins: boxes in whole points leave a hair of white at the edge

_Part = tuple[tuple[float, float], tuple[float, float]]  # from, to; factor, shift


class Method(StrEnum):
    """How the art is continued beyond its edge."""

    MIRROR = "mirror"
    STRETCH = "stretch"
    EXTEND = "extend"


@dataclass(frozen=True, slots=True)
class Patch:
    """One part of the ring, and the matrix through which the page's art is drawn to fill it."""

    place: Box
    matrix: Matrix


def declared_reach(boxes: PageBoxes) -> Box:
    """How far the art reaches if the page's boxes are believed: to the bleed box, and never less than to the trim.

    ValueError with one sentence where the trim itself reaches beyond the page.
    """
    if "TrimBox" in boxes.reduced:
        raise ValueError("It is to be cut outside its own edge.")
    return around(boxes.bleed, boxes.trim).common(boxes.media) or boxes.trim


@dataclass(frozen=True, slots=True)
class Plan:
    """What one page lacks. `art`: as far as nothing needs to be made; `wanted`: as far as art is to reach, around it.

    `shown`: outside of it, nothing that the page draws is to be seen, as nothing is outside its media box now.
    """

    number: int
    boxes: PageBoxes
    art: Box
    wanted: Box
    shown: Box

    @property
    def lacking(self) -> tuple[int, ...]:
        """The sides on which bleed is to be made, by their place in a box."""
        return tuple(at for at in range(4) if _beyond(self.wanted, self.art, at) > SLACK)

    def shortest(self) -> float:
        """The least bleed that is there now on a side that lacks some, in points of paper."""
        least = min(_beyond(self.art, self.boxes.trim, at) for at in self.lacking)
        return max(0.0, least) * self.boxes.user_unit


def plan_page(number: int, boxes: PageBoxes, art: Box, bleed: float, tolerance: float) -> Plan | None:
    """What the page lacks to have so much bleed (points of paper) on every side; None where nothing is missing.

    `art`: how far the art reaches, by the page's boxes or by looking at it; it may end a little inside the trim. A side short by no more than `tolerance` stays as it is. ValueError with one sentence where bleed can't be made.
    """
    unit, aim = boxes.user_unit, boxes.trim.grown(bleed / boxes.user_unit)
    sides = [aim[at] if _beyond(aim, art, at) * unit > tolerance else art[at] for at in range(4)]
    plan = Plan(number, boxes, art, Box(*sides), shown=boxes.media)
    if not plan.lacking:
        return None
    media = around(boxes.media, plan.wanted)
    if max(media.width, media.height) > MOST_UNITS:
        raise ValueError("With bleed it would be larger than a page of a PDF may be.")
    if bleed / unit > min(art.width, art.height) / 2:
        raise ValueError("The bleed that was ordered is wider than half of the poster.")
    return plan


def patches(art: Box, wanted: Box, method: Method) -> list[Patch]:
    """The parts of the ring between the two boxes, sides and corners, each with its matrix; none overlaps another."""
    across = _parts(art.left, art.right, wanted.left, wanted.right, method)
    up = _parts(art.bottom, art.top, wanted.bottom, wanted.top, method)
    return [
        Patch(Box(x0, y0, x1, y1), (a, 0.0, 0.0, d, e, f))
        for column, ((x0, x1), (a, e)) in across
        for row, ((y0, y1), (d, f)) in up
        if (column, row) != (0, 0)
    ]


def _parts(low: float, high: float, least: float, most: float, method: Method) -> list[tuple[int, _Part]]:
    """Along one axis: what is wanted below the art (-1), the art's own length (0), and what is wanted above it (1)."""
    middle = (1.0, 0.0)
    if method is Method.STRETCH:
        factor = (most - least) / (high - low)
        middle = below = above = (factor, least - factor * low)
    else:
        below, above = _outwards(low, low - least, method), _outwards(high, high - most, method)
    found = [(-1, ((least, low), below)), (0, ((low, high), middle)), (1, ((high, most), above))]
    return [(part, axis) for part, axis in found if axis[0][0] < axis[0][1]]


def _outwards(edge: float, width: float, method: Method) -> tuple[float, float]:
    """Factor and shift that lay what is inside an edge outside of it. `width`: of the ring, below zero at a high edge."""
    if method is Method.MIRROR or not width:
        return -1.0, 2 * edge
    inset = _INSET if width > 0 else -_INSET
    return -_EXTENDED, edge + _EXTENDED * (edge + inset)


def _beyond(outer: Box, inner: Box, at: int) -> float:
    """How far one side of a box lies beyond that of another."""
    return inner[at] - outer[at] if at < 2 else outer[at] - inner[at]


def around(one: Box, other: Box) -> Box:
    """The smallest box that holds both."""
    return Box(*(min(one[at], other[at]) if at < 2 else max(one[at], other[at]) for at in range(4)))
