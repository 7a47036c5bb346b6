"""Finds out by looking what bleed is really to be made on a page: where it is empty, where art is hidden, where none is."""

from __future__ import annotations

from dataclasses import dataclass, replace

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.looking.edges import PAPER, SIDES, Strip, Strips
from hotfolder.pdf.looking.edges_reach import lacking, reaches_cut
from hotfolder.pdf.mending.make_bleed_edges import Edges, look_at_edges
from hotfolder.pdf.mending.make_bleed_plan import Method, Plan, around, patches
from hotfolder.pdf.render import Pages
from hotfolder.units import MM

_GAP = MM  # a narrower strip of bare paper between the art and the cut is a slip; a wider one is meant
_THIN = 0.4 * MM  # what goes less far into the page is a line along its edge, and the paper outside of it stays bare
_WAVER = 2  # pixels by which the edge of the art may be out of line with the cut
_DRAWN = ("left", "bottom", "right", "top")  # sides in the order of a box, /Rotate not counted


@dataclass(frozen=True)
class Seen:
    """What looking at a page came to. The sides are by their place in a box."""

    plan: Plan  # of what is left to be made
    edges: Edges
    hidden: tuple[int, ...]  # sides on which the art itself goes on, only not shown by the boxes
    bare: tuple[int, ...]  # sides along which there is no art to continue
    over: frozenset[Box]  # parts of the ring where the page shows nothing but white
    middles: dict[int, float]  # of the longest stretch of a side that lacks bleed, as x or y, if not all of it does


def seen_side(boxes: PageBoxes, at: int) -> str:
    """The name of a side, by its place in a box, as the page is looked at: /Rotate turns clockwise."""
    return SIDES[(SIDES.index(_DRAWN[at]) + boxes.rotate // 90) % 4]


def seen_reach(boxes: PageBoxes, declared: Box, strips: Strips, bleed: float, tolerance: float) -> Box:
    """How far the art reaches by the look of it, never farther than is declared. Lengths in points of paper."""
    sides = list(declared)
    for at in range(4):
        strip, outwards = strips[seen_side(boxes, at)], -1 if at < 2 else 1
        ends = [stretch.reach for stretch in lacking(strip, bleed, tolerance)]
        gap = _gap(strip)
        if ends or gap:
            # The outermost pixel may be covered in part only.
            reach = -gap if gap else max(0.0, min(ends) - strip.pixel)
            seen = boxes.trim[at] + outwards * reach / boxes.user_unit
            if (declared[at] - seen) * outwards > 1.5 * strip.pixel / boxes.user_unit:
                sides[at] = seen
    return Box(*sides)


def _middle(strip: Strip, at: int, bleed: float, tolerance: float) -> float | None:
    """The middle of the longest stretch of a side that lacks bleed, as x or y; None where it is lacking all along."""
    found = lacking(strip, bleed, tolerance)
    if not found or any(stretch.whole for stretch in found):
        return None
    longest = max(found, key=lambda stretch: stretch.last - stretch.first)
    place = strip.box(longest.first, longest.last, 0, strip.outside)
    across = (at + 1) % 2
    return (place[across] + place[across + 2]) / 2


def look(pages: Pages, plan: Plan, strips: Strips, bleed: float, tolerance: float) -> Seen:
    """Find out what is really to be made. ValueError with one sentence where the page can't be drawn."""
    edges = look_at_edges(pages, plan)
    by_side = {at: strips[seen_side(plan.boxes, at)] for at in plan.lacking}
    hidden = tuple(at for at in plan.lacking if edges.goes_on(plan.art, plan.wanted, at))
    bare = tuple(at for at, strip in by_side.items() if at not in hidden and not reaches_cut(strip) and not _gap(strip))
    art, wanted, shown = list(plan.art), list(plan.wanted), list(plan.shown)
    for at in bare:
        wanted[at] = art[at]
    for at in hidden:
        art[at] = wanted[at]
        shown[at] = around(plan.shown, plan.wanted)[at]
    left = replace(plan, art=Box(*art), wanted=Box(*wanted), shown=Box(*shown))
    middles = {at: middle for at, strip in by_side.items() if (middle := _middle(strip, at, bleed, tolerance))}
    return Seen(left, edges, hidden, bare, _white_places(left, edges), middles)


def _gap(strip: Strip) -> float:
    """How far inside the cut the art of a side ends, all along it, in points: 0 where that is no slip."""
    thin = strip.rows(_THIN)
    near = strip.inwards[: strip.rows(_GAP) + 2 * thin] < PAPER
    counts = (near[..., 0] | near[..., 1] | near[..., 2]).sum(axis=1)
    most = int(counts.max(initial=0))
    first = int((counts >= 0.95 * max(most, 1)).argmax()) if counts.size else 0
    if not first or first * strip.pixel > _GAP or first + thin >= counts.size:
        return 0.0
    if counts[: max(0, first - _WAVER)].max(initial=0) > 0.02 * most or counts[first + thin] < 0.8 * most:
        return 0.0
    return (first + 1) * strip.pixel


def _white_places(plan: Plan, edges: Edges) -> frozenset[Box]:
    """The parts of the ring inside the sheet in which the page shows nothing but white."""
    ring = [patch.place for patch in patches(plan.art, plan.wanted, Method.MIRROR)]
    inside = [(place, place.common(plan.boxes.media)) for place in ring]
    # The pixels along its sides show a little of the art beside it.
    return frozenset(place for place, shown in inside if shown and edges.is_white(shown.grown(-1.5 * edges.pixel)))
