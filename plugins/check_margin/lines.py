"""Tells the letters of an outlined word, or the parts of a logo, once: what stands on one line with little between."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.looking.inventory import Kind, Painted
from hotfolder.pdf.looking.outlines import around
from hotfolder.plugin import Box

from .edges import RING, Edges, Thing

APART = 1.0  # of the lower one's height: what stands nearer belongs to one line
SHARED = 0.5  # of the lower one's height that both must share to stand on one line
ALIKE = 3.0  # times as high: more is no neighbour on a line
_MOST = 100  # things looked at pair by pair; more are told as they are
_MOST_AROUND = 20_000  # objects among which a line is followed
_MOST_STEPS = 200  # by which it is followed

Boxes = NDArray[np.float64]


def in_line(things: Sequence[Thing], objects: Iterable[Painted], edges: Edges) -> list[Thing]:
    """The same things: small drawings and shapes on one line as one drawing, whose box reaches as far as that line does.

    What is told, and how grave it is, was judged before of each by itself.
    """
    lines, others = list[Thing](), list[Thing]()
    for thing in things:
        (lines if thing.kind == "drawing" else others).append(thing)
    if not lines or len(things) > _MOST:
        return list(things)
    lines = _joined(lines, edges)
    shapes = [thing for thing in others if thing.kind == "art"]
    while (pair := _pair(lines, shapes, edges)) is not None:
        line, shape = pair
        lines[lines.index(line)] = _both(line, shape)
        shapes.remove(shape)
        others.remove(shape)
    boxes = _around(objects, edges)
    return [*_joined([replace(line, box=_reaching(line.box, boxes, edges)) for line in lines], edges), *others]


def _joined(lines: list[Thing], edges: Edges) -> list[Thing]:
    while (pair := _pair(lines, lines, edges)) is not None:
        lines = [*(line for line in lines if not any(line is each for each in pair)), _both(*pair)]
    return lines


def _pair(some: Sequence[Thing], others: Sequence[Thing], edges: Edges) -> tuple[Thing, Thing] | None:
    return next(
        ((one, other) for one in some for other in others if one is not other and _on_line(one.box, other.box, edges)),
        None,
    )


def _both(one: Thing, other: Thing) -> Thing:
    near = {
        side: min(thing.near[side] for thing in (one, other) if side in thing.near)
        for side in RING
        if side in one.near or side in other.near
    }
    return replace(one, box=around([one.box, other.box]), near=near)


def _around(objects: Iterable[Painted], edges: Edges) -> Boxes:
    """What may go on with such a line farther in, where nothing has to be told: rows of left, bottom, right, top."""
    kinds = (Kind.TEXT, Kind.PICTURE)
    boxes = (each.box for each in objects if each.seen and each.kind not in kinds)
    found = [box for box in boxes if box is not None and not edges.large(box) and not edges.outside(box)]
    return np.array(found if len(found) <= _MOST_AROUND else [], float).reshape(-1, 4)


def _reaching(box: Box, others: Boxes, edges: Edges) -> Box:
    """A line's box with all that follows on it; what follows is sought no higher and lower than the line was."""
    along = [1, 0, 3, 2] if edges.rotate % 180 else [0, 1, 2, 3]
    low, high = box[along[1]], box[along[3]]
    left, bottom, right, top = others[:, along].T
    lower, higher = np.minimum(top - bottom, high - low), np.maximum(top - bottom, high - low)
    shared = np.minimum(top, high) - np.maximum(bottom, low)
    fits = (lower > 0) & (higher <= ALIKE * lower) & (shared >= SHARED * lower)
    left, right, lower, others = left[fits], right[fits], lower[fits], others[fits]
    begin, end = box[along[0]], box[along[2]]
    joined = np.zeros(len(others), bool)
    for _ in range(_MOST_STEPS):
        new = ~joined & (np.maximum(left, begin) - np.minimum(right, end) < APART * lower)
        if not new.any():
            break
        joined |= new
        begin, end = min(begin, left[new].min()), max(end, right[new].max())
    if not joined.any():
        return box
    least, most = others[joined].min(axis=0), others[joined].max(axis=0)
    return around([box, Box(*least[:2].tolist(), *most[2:].tolist())])


def _on_line(one: Box, other: Box, edges: Edges) -> bool:
    if edges.rotate % 180:
        one, other = (Box(box.bottom, box.left, box.top, box.right) for box in (one, other))
    low, high = sorted((one.height, other.height))
    shared = min(one.top, other.top) - max(one.bottom, other.bottom)
    gap = max(one.left, other.left) - min(one.right, other.right)
    return low > 0 and high <= ALIKE * low and shared >= SHARED * low and gap < APART * low
