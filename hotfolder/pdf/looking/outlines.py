"""Gathers the outline that is being drawn, and tells where each separate part of it stands."""

from __future__ import annotations

import math

from hotfolder.finding import Box
from hotfolder.pdf.walk.content import PATH, Operation, parse_numbers
from hotfolder.pdf.walk.state import Matrix, common_box, transform_box

COUNTS = {b"m": 2, b"l": 2, b"c": 6, b"v": 4, b"y": 4, b"re": 4}  # numbers of the operators that draw (8.5.2)
APART = 9.0  # points: parts of one outline with a wider gap between them are things of their own
MOST_PARTS = 200  # told apart; an outline of more counts as one thing
_MOST_NUMBERS = 4096  # kept of one part; then only its box
_MOST_KEPT = 20_000  # parts kept; then only the box around them


class Outline:
    """A path under construction (8.5.2), in user space; curves stay within their control points."""

    __slots__ = ("clips", "parts", "points")

    def __init__(self) -> None:
        self.parts: list[list[float]] = []
        self.clips = False
        self.points = 0  # of all parts together

    def draw(self, operation: Operation) -> None:
        operator = operation.operator
        if operator == PATH:
            self.draw_many(operation.operands[0])
            return
        numbers = parse_numbers(operation.operands, COUNTS[operator])
        if operator == b"re":
            self.points += 4
            x, y, width, height = numbers
            self._begin([x, y, x + width, y, x + width, y + height, x, y + height])
        elif operator == b"m":
            self._go_on([*numbers], [])
        else:
            self._go_on(None, [*numbers])

    def draw_many(self, path: bytes) -> None:
        """Plain `m l c v y h` as they follow one another: all have pairs of numbers, and only `m` begins a part."""
        start: list[float] | None = None
        *before, last = path.split(b"m")
        for text in before:
            numbers = [*map(float, text.translate(None, b"lcvyh").split())]
            self._go_on(start, numbers[:-2])
            start = numbers[-2:]
        self._go_on(start, [*map(float, last.translate(None, b"lcvyh").split())])

    def _go_on(self, start: list[float] | None, numbers: list[float]) -> None:
        """On from a place just moved to, or from where the outline is."""
        if start is not None:
            self.points += 1
            self._begin(start)
        self.points += len(numbers) // 2
        if self.parts:
            part = self.parts[-1]
            part += numbers
            if len(part) > _MOST_NUMBERS:
                part[:] = _corners(part)

    def _begin(self, part: list[float]) -> None:
        if self.parts and len(self.parts[-1]) == 2:
            self.parts[-1] = part  # a mere move draws nothing
            return
        if len(self.parts) > _MOST_KEPT:
            self.parts = [_corners([number for each in self.parts for number in each])]
        self.parts.append(part)

    def boxes(self, ctm: Matrix) -> list[Box]:
        """The box of each part on the page."""
        return [_box(part, ctm) for part in self.parts if len(part) > 2]


def _corners(part: list[float]) -> list[float]:
    left, right, bottom, top = min(part[::2]), max(part[::2]), min(part[1::2]), max(part[1::2])
    return [left, bottom, right, bottom, right, top, left, top]


def _box(part: list[float], ctm: Matrix) -> Box:
    a, b, c, d, e, f = ctm
    xs, ys = part[::2], part[1::2]
    if b == c == 0 or a == d == 0:
        return Box(*transform_box((min(xs), min(ys), max(xs), max(ys)), ctm))
    us = [x * a + y * c + e for x, y in zip(xs, ys, strict=False)]
    vs = [x * b + y * d + f for x, y in zip(xs, ys, strict=False)]
    return Box(min(us), min(vs), max(us), max(vs))


def around(boxes: list[Box]) -> Box:
    """The box around some boxes, at least one."""
    return Box(
        min(box.left for box in boxes),
        min(box.bottom for box in boxes),
        max(box.right for box in boxes),
        max(box.top for box in boxes),
    )


def apart(boxes: list[Box], gap: float) -> list[Box]:
    """The things that an outline's parts make up: what is nearer to each other than the gap is one.

    Marks around a sheet are often one outline, whose whole box would be the sheet.
    """
    if len(boxes) < 2:
        return boxes
    things: list[Box] = []
    for box in boxes:  # parts that are neighbours mostly follow one another
        if things and _near(things[-1], box, gap):
            things[-1] = around([things[-1], box])
        else:
            things.append(box)
        if len(things) > MOST_PARTS:
            return [around(boxes)]
    joined = True
    while joined and len(things) > 1:
        joined = False
        kept: list[Box] = []
        for box in things:
            at = next((at for at, other in enumerate(kept) if _near(other, box, gap)), -1)
            if at < 0:
                kept.append(box)
            else:
                kept[at] = around([kept[at], box])
                joined = True
        things = kept
    return things


def _near(one: Box, other: Box, gap: float) -> bool:
    left, bottom, right, top = common_box(one, other)  # type: ignore[misc]
    return left - right <= gap and bottom - top <= gap


def reach_of_pen(width: float, ctm: Matrix) -> tuple[float, float]:
    """How far a line reaches sideways and upwards beyond the path that it follows (8.4.3.2); corners count as round."""
    a, b, c, d, _, _ = ctm
    return width / 2 * math.hypot(a, c), width / 2 * math.hypot(b, d)
