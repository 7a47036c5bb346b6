"""Tells apart what of pictures and drawings near the cut is meant to be seen whole, and what may be cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from hotfolder.pdf.looking.inventory import Kind, Painted
from hotfolder.plugin import MM, Box

from .edges import Edges, Thing

REACHES = 0.5 * MM  # art that comes this near to the trim is meant to run off
BACKGROUND = 0.25  # of the sheet: art that runs off and is larger is what other things stand on
NEIGHBOURS = 1.5 * MM  # parts of a drawing with no more between them belong together
MANY_POINTS = 30  # of all outlines of a drawing: logos, codes and outlined letters have more; bars and dots fewer
BESIDE = 2 * MM  # a line or shape this near to a text that is told of goes with it
MOSTLY = 0.5  # a drawing with so much of it over a text, or the other way round, too: a badge, a button
_RECTANGLE = 5
_MOST_PARTS = 1500  # looked at pair by pair; more are first joined as they were painted


@dataclass
class _Part:
    """A piece of a drawing, or several that belong together."""

    box: Box
    points: int = 0
    picture: bool = False
    runs_off: bool = False
    long: bool = False


def near_art(objects: Iterable[Painted], edges: Edges, small: float) -> Iterator[Thing]:
    """Art inside the margin that doesn't run off the sheet. `small`: share of the sheet up to which it is a logo, a code,
    a picture that is meant to be seen whole."""
    parts = list[_Part]()
    for painted in objects:
        if (part := _part(painted, edges)) is None:
            continue
        if part.long:  # frames, rules, panels
            yield Thing("art", part.box, edges.near(part.box))
        else:
            parts.append(part)
    for part in _joined(parts, NEIGHBOURS / edges.unit):
        if part.runs_off:
            continue
        near = edges.near(part.box)
        whole = edges.share(part.box) <= small and not edges.large(part.box)
        kind = "picture" if part.picture else "drawing"
        yield Thing(kind if whole and (part.picture or part.points >= MANY_POINTS) else "art", part.box, near)


def _part(painted: Painted, edges: Edges) -> _Part | None:
    """An object as part of a drawing; None for what keeps its distance, and for what other things stand on."""
    box = painted.box
    if box is None or not painted.seen or painted.kind is Kind.TEXT or edges.outside(box):
        return None
    near = edges.near(box)
    if not near:
        return None
    picture = painted.kind in (Kind.PICTURE, Kind.STENCIL)
    runs_off = min(near.values()) <= REACHES
    if runs_off and (edges.share(box) >= BACKGROUND or (not picture and painted.points <= _RECTANGLE)):
        return None
    long = edges.large(box) and not runs_off
    return _Part(box, painted.points, picture, runs_off, long)


def _joined(parts: list[_Part], gap: float) -> list[_Part]:
    """Parts that touch, or nearly so, as one."""
    if len(parts) > _MOST_PARTS:
        parts = _joined_in_order(parts, gap)
    parts = sorted(parts, key=lambda part: part.box.left)
    _, bottom, right, top = np.array([part.box for part in parts], float).reshape(-1, 4).T
    group = np.arange(len(parts))  # of each part: the first that belongs to it
    for at, box in enumerate(part.box for part in parts):
        near = (right[:at] + gap >= box.left) & (bottom[:at] <= box.top + gap) & (top[:at] + gap >= box.bottom)
        touched = np.unique(group[:at][near])
        if len(touched):
            group[at] = touched[0]
        if len(touched) > 1:
            group[:at][np.isin(group[:at], touched)] = touched[0]
    together = dict[int, _Part]()
    for of, part in zip(group.tolist(), parts, strict=True):
        known = together.get(of)
        together[of] = part if known is None else _both(known, part)
    return list(together.values())


def _joined_in_order(parts: list[_Part], gap: float) -> list[_Part]:
    joined = list[_Part]()
    for part in parts:
        if joined and _near(joined[-1].box, part.box, gap):
            joined[-1] = _both(joined[-1], part)
        else:
            joined.append(part)
    return joined


def _near(one: Box, other: Box, gap: float) -> bool:
    return (
        one.left <= other.right + gap
        and other.left <= one.right + gap
        and one.bottom <= other.top + gap
        and other.bottom <= one.top + gap
    )


def _both(one: _Part, other: _Part) -> _Part:
    a, b = one.box, other.box
    box = Box(min(a.left, b.left), min(a.bottom, b.bottom), max(a.right, b.right), max(a.top, b.top))
    return _Part(box, one.points + other.points, one.picture or other.picture, one.runs_off or other.runs_off)


def goes_with(thing: Thing, texts: Iterable[Box], unit: float) -> bool:
    """Whether something is told of with a text already: what stands under it, around it, or marks it."""
    if thing.kind == "art":
        return any(thing.box.common(text.grown(BESIDE / unit)) for text in texts)
    for text in texts:
        both = thing.box.common(text)
        smaller = min(thing.box.width * thing.box.height, text.width * text.height)
        if both is not None and both.width * both.height >= MOSTLY * smaller:
            return True
    return False
