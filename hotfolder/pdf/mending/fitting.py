"""Works out how a page comes to the ordered size: where it is cut, how far it is turned and by how much it grows.

It decides and draws nothing. ISO 32000-1 14.11.2 (boxes), table 30 (Rotate, UserUnit); how far shapes may differ is
common practice, with no published source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from hotfolder.finding import Box
from hotfolder.moved import Matrix, Moved
from hotfolder.pdf.boxes import MOST_UNITS, SLACK, USUAL_BLEEDS, PageBoxes, infer_trim, size_matches
from hotfolder.units import MM, Size

SAME_SHAPE = 0.005  # a scale is meant if it is met to half a percent
_MOST_ROUNDING = 0.01  # what may come of sides rounded to whole millimetres (A10 for A0: 0.7 %)
_ROUNDED = 1.6 * MM  # half a millimetre on each side of both sheets (B5 brought to B6: 1.56 mm)
_OTHER_SHEET = 1.2  # a page that grows or shrinks by more is no sheet a little off, but another of its series
_BLEED_SLACK = 0.5 * MM  # both sides exceed the order by the same, this closely: then it is bleed that was counted in


@dataclass(frozen=True)
class Allowed:
    """What may be done: `scales` are exact factors to the ordered size (2.0 for 1:2), the limits any factor near 1."""

    scales: Sequence[float] = ()
    least: float = 1.0
    most: float = 1.0
    turn: bool = False
    plain_unit: bool = True


@dataclass(frozen=True)
class Fit:
    """How one page comes to size. Boxes are in the page's user space as it is now, `cut` in the one that will be."""

    moved: Moved
    seen: tuple[float, float]  # size it was cut to, in points as it was looked at
    trim: Box  # where it is cut now, found or inferred
    bleed: Box
    cut: Box  # the trim afterwards
    unit: float  # points in a unit afterwards
    scale: float  # how much larger it prints
    turned: bool  # beyond what Rotate says
    inferred: bool  # the file doesn't say where it is cut
    cut_out: bool = False  # it is cut around its art, of which the size is the ordered one


def plan_fit(
    boxes: PageBoxes, ordered: Size | None, bleed: float, allowed: Allowed, art: tuple[Box, Box] | None = None
) -> Fit | None:
    """How the page comes to the ordered size; None where there is nothing to do, or nothing that is allowed.

    `art`: trim and bleed around art of the ordered size on a larger page without trim box, if it may be cut out.
    Boxes that reach beyond the page or each other are left alone: what they mean, a person must say.
    """
    cut_out = art is not None and "TrimBox" not in boxes.declared
    found = (*art, True) if art is not None and cut_out else _where_cut(boxes, ordered, bleed, allowed)
    if found is None or "TrimBox" in boxes.reduced or not found[0].within(found[1], SLACK):
        return None
    trim, around, inferred = found
    seen = boxes.seen_size(trim)
    way = _way(seen, ordered)
    turned = allowed.turn and ordered is not None and (way.width, way.height) != (ordered.width, ordered.height)
    scale = _scale(seen, way, bleed, allowed) if ordered is not None else 1.0
    if scale is None:
        return None
    unit = _unit(boxes, scale)
    moves = scale != 1 or turned or cut_out
    if not moves and (unit == boxes.user_unit or not allowed.plain_unit):
        return None
    matrix = _matrix(boxes, (turned + -boxes.rotate // 90) % 4, boxes.user_unit * scale / unit)
    cut = Moved(matrix, (0, 0)).now(trim)
    if scale != 1:
        size = (way.height, way.width) if turned else (way.width, way.height)
        cut = _in_the_middle(cut, size[0] / unit, size[1] / unit)
    moved = Moved(matrix, (cut.width * unit, cut.height * unit))
    return Fit(moved, seen, trim, around, cut, unit, scale, turned, inferred, cut_out)


def covering(found: tuple[float, float], aim: tuple[float, float]) -> float:
    """The factor at which a page covers a size, with nothing left white."""
    return max(aim[0] / found[0], aim[1] / found[1])


def same_shape(found: tuple[float, float], aim: tuple[float, float]) -> bool:
    """Whether two sizes, lying alike, have one shape: a side rounded to whole millimetres misses by as many times more
    as the page grows. So all A sizes have one (ISO 216: 1 to the square root of 2, in whole millimetres)."""
    factor = covering(found, aim)
    another = not 1 / _OTHER_SHEET <= factor <= _OTHER_SHEET
    rounding = _ROUNDED * max(1.0, factor) if another else MM
    return all(
        side * factor - wanted <= min(rounding, max(_ROUNDED, wanted * _MOST_ROUNDING))
        for side, wanted in zip(found, aim, strict=True)
    )


# ---- where it is cut


def _where_cut(boxes: PageBoxes, ordered: Size | None, bleed: float, allowed: Allowed) -> tuple[Box, Box, bool] | None:
    """Trim and bleed, and whether they had to be inferred: from the page's size and the order at an allowed scale."""
    if "TrimBox" in boxes.declared:
        return boxes.trim, boxes.bleed, False
    if ordered is None:
        return boxes.bleed, boxes.bleed, False
    for scale in (1.0, *allowed.scales):
        small = Size(ordered.width / scale, ordered.height / scale)
        found = infer_trim(boxes, small, bleed / scale, MM * min(1.0, 1 / scale))
        if found is not None:
            return found.trim, found.bleed, True
    return boxes.bleed, boxes.bleed, True


# ---- how much


def _way(seen: tuple[float, float], ordered: Size | None) -> Size:
    """The order as the page lies."""
    if ordered is None:
        return Size(*seen)
    ways = (ordered, ordered.turned())
    return min(ways, key=lambda way: abs(seen[0] / way.width - seen[1] / way.height))


def _scale(seen: tuple[float, float], way: Size, bleed: float, allowed: Allowed) -> float | None:
    """The factor that lets the page cover the ordered size; None where none is allowed, or the shape is another one."""
    if size_matches(seen, (way.width, way.height)):
        return 1.0
    factor = covering(seen, (way.width, way.height))
    exact = any(abs(factor / scale - 1) <= SAME_SHAPE for scale in allowed.scales)
    if not (exact or allowed.least <= factor <= allowed.most) or not same_shape(seen, (way.width, way.height)):
        return None
    counted = any(_bleed_counted(seen, way, bleed, scale) for scale in (1.0, *allowed.scales))
    return None if counted else factor


def _bleed_counted(seen: tuple[float, float], way: Size, bleed: float, scale: float) -> bool:
    """Whether the page is larger by a usual bleed on every side: then scaling would bring bleed inside the cut."""
    extra = seen[0] * scale - way.width, seen[1] * scale - way.height
    usual = {one * times for one in (bleed, *USUAL_BLEEDS) for times in (1.0, scale)}
    return any(all(abs(more - 2 * one) <= _BLEED_SLACK for more in extra) for one in usual if one > _BLEED_SLACK)


def _unit(boxes: PageBoxes, scale: float) -> float:
    """One point, or the least whole number of points that keeps the page within a PDF's 14 400 units a side."""
    longest = max(boxes.size(boxes.media)) * scale
    return float(max(1, math.ceil(longest / MOST_UNITS - 1e-9)))


# ---- where it goes


def _matrix(boxes: PageBoxes, turns: int, factor: float) -> Matrix:
    """Quarter turns to the left and a factor; the media box begins at 0 0 afterwards."""
    cos, sin = ((1, 0), (0, 1), (-1, 0), (0, -1))[turns]
    turned: Matrix = (factor * cos, factor * sin, -factor * sin, factor * cos, 0.0, 0.0)
    media = Moved(turned, (0, 0)).now(boxes.media)
    return (*turned[:4], -media.left, -media.bottom)


def _in_the_middle(box: Box, width: float, height: float) -> Box:
    across, up = (box.left + box.right) / 2, (box.bottom + box.top) / 2
    return Box(across - width / 2, up - height / 2, across + width / 2, up + height / 2)
