"""Picks the lines out of everything a page paints that are too thin to print well, and gathers those of one drawing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from hotfolder.finding import Box
from hotfolder.pdf.looking.inventory import Kind, Painted
from hotfolder.pdf.looking.outlines import apart, around
from hotfolder.pdf.walk.pens import pen_span
from hotfolder.pdf.walk.state import Colour

SLACK = 1e-3  # of a width: what programs lose by rounding
SHORTEST = 4.0  # points on paper; what is shorter is a dot, a serif or part of a drawn letter
NO_AREA = 1e-3  # points; charting programs leave short areas of no height behind, which most programs don't draw
SHORTEST_FLAT = 36.0  # points: a longer one is meant as a rule
LINE_LIKE = 10.0  # an area so many times as long as wide is a line in effect
TOUCHING = 0.05  # points between two areas that are one
ALIKE = 0.1  # of an ink, between slices of one gradient
NEAR = 0.05  # of the longer side of the sheet: lines nearer to each other belong to one drawing
NO_INK = 0.005
DARK = 0.5  # the strongest ink of a ground on which a white line may close
MOST_GROUNDS = 2000  # lines without ink whose ground is looked for
MOST_NEIGHBOURS = 40
STRETCH, MOST_STRETCHES = 36.0, 200  # points; neighbours are looked for where they stand
_GROUNDS = (Kind.FILL, Kind.PICTURE, Kind.GRADIENT, Kind.STENCIL)


class Why(Enum):
    """Why a line is told of; the codes of the findings."""

    LINE = "thin_line"
    AREA = "thin_area"
    TINT = "light_line"
    REVERSED = "reversed_line"


@dataclass(frozen=True, slots=True)
class Thin:
    """A line too thin: its width on paper in points, and where it is seen."""

    why: Why
    width: float
    box: Box


@dataclass(frozen=True, slots=True)
class Drawing:
    """Thin lines of one kind that stand near each other."""

    why: Why
    page: int
    count: int
    least: float
    most: float
    box: Box


@dataclass(frozen=True, slots=True)
class Limits:
    """Widths in points below which a line is too thin, and the strongest ink of a tint, 0..1."""

    plain: float
    light: float
    tint: float


def thin_lines(objects: Sequence[Painted], unit: float, area: Box | None, limits: Limits) -> list[Thin]:
    """The thin lines that are seen inside the area. `unit`: points to one unit of the page's space."""
    found, bare, slices = list[Thin](), list[tuple[int, Thin]](), list[tuple[int, Thin]]()
    for at, one in enumerate(objects):
        if one.box is None or not one.seen:
            continue
        if one.kind is Kind.STROKE:
            width = _across(one, unit)
        elif one.kind is Kind.FILL:
            width = min(one.whole.width, one.whole.height) * unit
        else:
            continue
        if width >= max(limits.plain, limits.light) * (1 - SLACK) or not _is_line(one, width, unit):
            continue
        if area is not None and one.box.grown(1e-6).common(area) is None:  # a line of no width has a box of no height
            continue
        if _edge_of_same(objects, at):
            continue
        strongest = ink(one.colour)
        if strongest is not None and strongest <= NO_INK:
            bare.append((at, Thin(Why.REVERSED, width, one.box)))
        elif width < limits.plain * (1 - SLACK):
            thin = Thin(Why.LINE if one.kind is Kind.STROKE else Why.AREA, width, one.box)
            if one.kind is Kind.STROKE:
                found.append(thin)
            else:
                slices.append((at, thin))
        elif strongest is not None and strongest * one.alpha < limits.tint and one.kind is Kind.STROKE:
            found.append(Thin(Why.TINT, width, one.box))
    return [*found, *_not_slices(objects, slices, unit), *_on_dark(objects, bare[:MOST_GROUNDS])]


def _across(line: Painted, unit: float) -> float:
    """A line's width on paper: under uneven scaling that of the thinner direction, unless it runs level or upright."""
    span = pen_span(line.matrix)
    if span.most <= span.least * (1 + SLACK) or span.least <= 0:
        return line.size
    reach = min(line.whole.width, line.whole.height) * unit
    return reach if reach <= line.size / span.least * span.most * (1 + SLACK) else line.size


def _is_line(one: Painted, width: float, unit: float) -> bool:
    assert one.box is not None
    long = max(one.box.width, one.box.height) * unit
    if one.kind is Kind.STROKE:
        return long >= SHORTEST
    return long >= (max(SHORTEST, width * LINE_LIKE) if width > NO_AREA else SHORTEST_FLAT)


def _edge_of_same(objects: Sequence[Painted], at: int) -> bool:
    """Whether it is the edge of an area in the same colour, or an area with an edge of its own: together they are wider."""
    one = objects[at]
    if one.kind is Kind.STROKE:
        fill = objects[at - 1] if at else None
        return fill is not None and _is_edge(fill, one) and _same(fill.colour, one.colour) and fill.alpha == one.alpha
    edge = objects[at + 1] if at + 1 < len(objects) else None
    return edge is not None and edge.seen and _is_edge(one, edge)


def _is_edge(fill: Painted, stroke: Painted) -> bool:
    """Whether one path gave both: the stroke's box is the area's, grown by the pen on every side."""
    if (fill.kind, stroke.kind) != (Kind.FILL, Kind.STROKE):
        return False
    grown = (
        fill.whole.left - stroke.whole.left,
        fill.whole.bottom - stroke.whole.bottom,
        stroke.whole.right - fill.whole.right,
        stroke.whole.top - fill.whole.top,
    )
    return min(grown) > -1e-6 and max(grown) - min(grown) < 1e-3 * max(max(grown), 1.0)


def _same(one: Colour | None, other: Colour | None) -> bool:
    return (
        one is not None
        and other is not None
        and (one.space.key, one.values, one.pattern) == (other.space.key, other.values, other.pattern)
    )


# ---- ink


def ink(colour: Colour | None) -> float | None:
    """The strongest ink of a colour, 0..1; None where that can't be told: patterns, tables, colours of the screen."""
    if colour is None or colour.pattern or not colour.values:
        return None
    kind, values = colour.space.kind, colour.values
    if kind in ("DeviceCMYK", "Separation", "DeviceN") or (kind == "ICCBased" and len(values) == 4):
        return max(values)
    if kind in ("DeviceGray", "CalGray") or (kind == "ICCBased" and len(values) == 1):
        return 1 - values[0]
    if kind in ("DeviceRGB", "CalRGB", "ICCBased") and len(values) == 3 and max(values) - min(values) < 1e-3:
        return 1 - values[0]  # a gray, which black ink prints
    return None


def _on_dark(objects: Sequence[Painted], bare: list[tuple[int, Thin]]) -> Iterator[Thin]:
    """Lines without ink that stand on something with ink; on bare paper nobody sees them."""
    if not bare:
        return
    grounds = [at for at, one in enumerate(objects) if one.kind in _GROUNDS and one.seen and one.box is not None]
    boxes = np.array([objects[at].box for at in grounds], float).reshape(-1, 4)
    order = np.array(grounds, int)
    for at, thin in bare:
        x, y = (thin.box.left + thin.box.right) / 2, (thin.box.bottom + thin.box.top) / 2
        around_it = (boxes[:, 0] <= x) & (boxes[:, 1] <= y) & (boxes[:, 2] >= x) & (boxes[:, 3] >= y) & (order < at)
        below = np.flatnonzero(around_it)
        if len(below) and _is_dark(objects[order[below[-1]]]):
            yield thin


def _is_dark(ground: Painted) -> bool:
    """Whether so much ink stands there that a thin gap in it may close; a picture counts as dark."""
    colour = ground.colour
    if colour is None or colour.pattern:
        return True
    strongest = ink(colour)
    if strongest is None:
        strongest = 1 - min(colour.values) if len(colour.values) == 3 else 1.0
    return strongest * ground.alpha >= DARK


# ---- slices of gradients and pictures, which many programs draw as narrow areas side by side


def _not_slices(objects: Sequence[Painted], slices: list[tuple[int, Thin]], unit: float) -> Iterator[Thin]:
    """The narrow areas that have no neighbour of nearly their colour."""
    wanted: dict[Place, list[int]] = {}
    for at, _ in slices:
        for place in _places(objects[at].whole, unit, around_it=True):
            wanted[place] = []
    for at, one in enumerate(objects) if wanted else ():
        if one.kind is Kind.FILL:
            for place in _places(one.whole, unit):
                if (met := wanted.get(place)) is not None and len(met) < MOST_NEIGHBOURS:
                    met.append(at)
    for at, thin in slices:
        upright = objects[at].whole.width < objects[at].whole.height
        places = _places(objects[at].whole, unit, around_it=True)
        near = (other for place in places for other in wanted[place] if other != at)
        if not any(_continues(objects[at], objects[other], upright) for other in near):
            yield thin


Place = tuple[bool, int, int]


def _places(whole: Box, unit: float, *, around_it: bool = False) -> Iterator[Place]:
    """Where the long sides of an area lie: upright or not, at which distance, in which stretches along it.

    `around_it`: of a narrow area, the places where a neighbour's side may lie that runs past its middle.
    """
    for upright in (whole.width < whole.height,) if around_it else (False, True):
        sides, ends = (whole[::2], whole[1::2]) if upright else (whole[1::2], whole[::2])
        low, high = (ends[0] + ends[1],) * 2 if around_it else (2 * ends[0], 2 * ends[1])
        first, last = (int(end * unit / 2 // STRETCH) for end in (low, high))
        for side in sides:
            place = round(side * unit / TOUCHING)
            for step in (-1, 0, 1) if around_it else (0,):
                for stretch in range(first, min(last, first + MOST_STRETCHES) + 1):
                    yield upright, place + step, stretch


def _continues(one: Painted, other: Painted, upright: bool) -> bool:
    """Whether an area beside a narrow one runs along it in nearly the same colour."""
    a, b = (one.whole[1::2], other.whole[1::2]) if upright else (one.whole[::2], other.whole[::2])
    c, d = (one.whole[::2], other.whole[::2]) if upright else (one.whole[1::2], other.whole[1::2])
    along, across = min(a[1], b[1]) - max(a[0], b[0]), min(c[1], d[1]) - max(c[0], d[0])
    if along < (a[1] - a[0]) / 2 or across > (c[1] - c[0]) / 2 or one.colour is None or other.colour is None:
        return False
    if one.colour.space.key != other.colour.space.key or len(one.colour.values) != len(other.colour.values):
        return False
    return all(abs(x - y) < ALIKE for x, y in zip(one.colour.values, other.colour.values, strict=True))


# ---- drawings


def drawings(page: int, thin: Iterable[Thin], trim: Box) -> list[Drawing]:
    """The lines of each kind, those near each other as one."""
    found = list[Drawing]()
    kinds: dict[Why, list[Thin]] = {}
    for line in thin:
        kinds.setdefault(line.why, []).append(line)
    for why, lines in kinds.items():
        places = apart([line.box for line in lines], NEAR * max(trim.width, trim.height))
        corners = np.array(places)
        members: list[list[float]] = [[] for _ in places]
        boxes: list[list[Box]] = [[] for _ in places]
        for line in lines:
            x, y = (line.box.left + line.box.right) / 2, (line.box.bottom + line.box.top) / 2
            inside = (corners[:, 0] <= x) & (corners[:, 1] <= y) & (corners[:, 2] >= x) & (corners[:, 3] >= y)
            at = int(inside.argmax())
            members[at].append(line.width)
            boxes[at].append(line.box)
        for widths, these in zip(members, boxes, strict=True):
            if widths:
                found.append(Drawing(why, page, len(widths), min(widths), max(widths), around(these)))
    return found


def same_on_pages(found: list[Drawing]) -> dict[Drawing, list[int]]:
    """Each drawing with all pages that have it in the same place, the thinnest first."""
    places: dict[object, tuple[Drawing, list[int]]] = {}
    for one in sorted(found, key=lambda one: (one.least, -one.count, one.page)):
        key = (one.why, one.count, *(round(part, 2) for part in (one.least, one.most)), *map(round, one.box))
        places.setdefault(key, (one, []))[1].append(one.page)
    return dict(places.values())
