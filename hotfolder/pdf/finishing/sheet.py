"""Where on the sheet each printer's mark goes: around the trim, outside the bleed, as the poster is looked at.

Everything here is in points of paper (1/72 in), the trim's lower left corner at 0 0, the sheet upright as /Rotate
shows it. ISO 32000-1 14.11.2 (boxes) and 14.11.3 (printer's marks); the measures themselves are common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.units import MM

LEAST_OFFSET = 3 * MM  # of the marks from the trim, where the bleed is less (common practice)
EDGE = 2 * MM  # from the marks to the edge of the sheet
TARGET = 7 * MM  # across the hair lines of a registration target
PATCH, LEAST_PATCH = 5 * MM, 2 * MM  # side of a colour patch, and the smallest that can still be measured
GAP = 1 * MM  # from the offset to every mark but the cut marks, which begin at it
CORNER = 3 * MM  # kept free beside each cut mark
SLUG_ROW = 4.5 * MM  # height of the line of text below the marks

Inks = tuple[float, float, float, float]
Line = tuple[float, float, float, float]

#: Solids, their overprints (red, green, blue, three-colour gray), and 50 % of each ink.
BARS: tuple[Inks, ...] = (
    (1, 0, 0, 0),
    (0, 1, 0, 0),
    (0, 0, 1, 0),
    (0, 0, 0, 1),
    (0, 1, 1, 0),
    (1, 0, 1, 0),
    (1, 1, 0, 0),
    (1, 1, 1, 0),
    (0.5, 0, 0, 0),
    (0, 0.5, 0, 0),
    (0, 0, 0.5, 0),
    (0, 0, 0, 0.5),
)
RAMP: tuple[Inks, ...] = tuple((0, 0, 0, step / 10) for step in range(1, 11))


@dataclass(frozen=True)
class Marks:
    """Which marks are wanted. Lengths in points; `offset` None: the larger of the bleed and 3 mm."""

    cut_marks: bool = True
    bleed_marks: bool = False
    registration_targets: bool = True
    colour_bars: bool = True
    gray_ramp: bool = True
    slug_line: bool = False
    offset: float | None = None
    length: float = 5 * MM
    weight: float = 0.25

    @property
    def any(self) -> bool:
        return any(
            (
                self.cut_marks,
                self.bleed_marks,
                self.registration_targets,
                self.colour_bars,
                self.gray_ramp,
                self.slug_line,
            )
        )


@dataclass(frozen=True)
class Sheet:
    """One sheet with its marks' places. `left_out` names, in words, what had no room."""

    width: float  # of the trim
    height: float
    bleed: Box  # about the trim
    edge: Box  # of the sheet
    offset: float
    lines: tuple[Line, ...] = ()  # x0 y0 x1 y1
    targets: tuple[tuple[float, float], ...] = ()  # centres
    patches: tuple[tuple[Box, Inks], ...] = ()
    slug: tuple[float, float, float] | None = None  # left end, base line, room
    left_out: tuple[str, ...] = field(default=())


def view_matrix(boxes: PageBoxes, trim: Box) -> tuple[float, float, float, float, float, float]:
    """The matrix from the sheet's points to the page's user space: /Rotate turns clockwise, UserUnit scales."""
    unit = 1 / boxes.user_unit
    return {
        0: (unit, 0.0, 0.0, unit, trim.left, trim.bottom),
        90: (0.0, unit, -unit, 0.0, trim.right, trim.bottom),
        180: (-unit, 0.0, 0.0, -unit, trim.right, trim.top),
        270: (0.0, -unit, unit, 0.0, trim.left, trim.top),
    }[boxes.rotate]


def to_user(matrix: tuple[float, float, float, float, float, float], box: Box) -> Box:
    """A box of the sheet in the page's user space."""
    a, b, c, d, e, f = matrix
    xs = [a * x + c * y + e for x in (box.left, box.right) for y in (box.bottom, box.top)]
    ys = [b * x + d * y + f for x in (box.left, box.right) for y in (box.bottom, box.top)]
    return Box(min(xs), min(ys), max(xs), max(ys))


def with_bleed(boxes: PageBoxes, ordered: float) -> PageBoxes:
    """The boxes with a bleed box that is sure to hold the trim; where none is declared, the ordered bleed."""
    trim, bleed = boxes.trim, boxes.bleed
    if "BleedBox" not in boxes.declared:
        bleed = trim.grown(ordered / boxes.user_unit).common(boxes.media) or trim
    bleed = _around(bleed, trim)
    return PageBoxes(**{**vars(boxes), "bleed": bleed})


def _around(one: Box, other: Box) -> Box:
    pick: tuple[Callable[[float, float], float], ...] = (min, min, max, max)
    return Box(*(choose(a, b) for choose, a, b in zip(pick, one, other, strict=True)))


def lay_out(boxes: PageBoxes, marks: Marks) -> Sheet:
    """Where everything goes on one page's sheet. The bleed is never entered: the offset is at least its widest side."""
    unit, trim = boxes.user_unit, boxes.trim
    width, height = boxes.seen_size(trim)
    sides = [
        max(0.0, side) * unit
        for side in (
            trim.left - boxes.bleed.left,
            trim.bottom - boxes.bleed.bottom,
            boxes.bleed.right - trim.right,
            boxes.bleed.top - trim.top,
        )
    ]
    turns = boxes.rotate // 90  # clockwise by 90 degrees: what was below is seen on the left
    left, bottom, right, top = sides[turns:] + sides[:turns]
    bleed = Box(-left, -bottom, width + right, height + top)
    offset = max(marks.offset if marks.offset is not None else LEAST_OFFSET, *sides)
    depth = _depth(marks)
    edge = Box(0, 0, width, height).grown(offset + depth + EDGE)
    if marks.slug_line:
        edge = edge._replace(bottom=edge.bottom - SLUG_ROW)
    targets, patches, left_out = _targets(marks, width, height, offset), [], []
    if marks.registration_targets and len(targets) < 4:
        left_out.append("registration targets on the short sides")
    for wanted, inks, at_right, words in (
        (marks.colour_bars, BARS, False, "colour bars"),
        (marks.gray_ramp, RAMP, True, "gray ramp"),
    ):
        if wanted:
            row = _row(inks, width, -offset - GAP, at_right, bool(targets))
            patches += row
            left_out += [] if row else [words]
    return Sheet(
        width=width,
        height=height,
        bleed=bleed,
        edge=edge,
        offset=offset,
        lines=_cut_lines(marks, width, height, offset) + _bleed_lines(marks, bleed, width, height, offset),
        targets=targets,
        patches=tuple(patches),
        slug=(0.0, edge.bottom + EDGE + 0.3 * SLUG_ROW, width) if marks.slug_line else None,
        left_out=tuple(left_out),
    )


def _depth(marks: Marks) -> float:
    """How far the marks reach outwards from the offset."""
    lines = max(marks.cut_marks * marks.length, marks.bleed_marks * (GAP + 0.6 * marks.length))
    targets = GAP + TARGET if marks.registration_targets else 0.0
    patches = GAP + PATCH if marks.colour_bars or marks.gray_ramp else 0.0
    return max(lines, targets, patches)


def _cut_lines(marks: Marks, width: float, height: float, offset: float) -> tuple[Line, ...]:
    """Eight lines in line with the trim's edges."""
    if not marks.cut_marks:
        return ()
    start, end = offset, offset + marks.length
    across = [(x0, y, x1, y) for y in (0.0, height) for x0, x1 in ((-end, -start), (width + start, width + end))]
    up = [(x, y0, x, y1) for x in (0.0, width) for y0, y1 in ((-end, -start), (height + start, height + end))]
    return tuple(across + up)


def _bleed_lines(marks: Marks, bleed: Box, width: float, height: float, offset: float) -> tuple[Line, ...]:
    """Eight shorter lines in line with the edges of the bleed; none for a side that has no bleed."""
    if not marks.bleed_marks:
        return ()
    start, end = offset + GAP, offset + GAP + 0.6 * marks.length
    lines: list[Line] = []
    for y in ([bleed.bottom] if bleed.bottom < 0 else []) + ([bleed.top] if bleed.top > height else []):
        lines += [(-end, y, -start, y), (width + start, y, width + end, y)]
    for x in ([bleed.left] if bleed.left < 0 else []) + ([bleed.right] if bleed.right > width else []):
        lines += [(x, -end, x, -start), (x, height + start, x, height + end)]
    return tuple(lines)


def _targets(marks: Marks, width: float, height: float, offset: float) -> tuple[tuple[float, float], ...]:
    """Centres in the middle of each side that is long enough to keep clear of the cut marks."""
    if not marks.registration_targets:
        return ()
    out, room = offset + GAP + TARGET / 2, TARGET + 2 * CORNER
    found = [(width / 2, -out), (width / 2, height + out)] if width >= room else []
    found += [(-out, height / 2), (width + out, height / 2)] if height >= room else []
    return tuple(found)


def _row(
    inks: tuple[Inks, ...], width: float, top: float, at_right: bool, beside_target: bool
) -> list[tuple[Box, Inks]]:
    """A row of patches in the left or right half below the poster, smaller where it must be; [] without room."""
    middle = TARGET / 2 + CORNER / 2 if beside_target else CORNER / 2
    side = min(PATCH, (width / 2 - CORNER - middle) / len(inks))
    if side < LEAST_PATCH:
        return []
    start = width - CORNER - side * len(inks) if at_right else CORNER
    return [
        (Box(start + side * place, top - side, start + side * (place + 1), top), ink) for place, ink in enumerate(inks)
    ]
