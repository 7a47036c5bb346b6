"""Turns gradients along a line (axial, radial, meshes with one number a corner) into tables of colours."""

import itertools
from typing import TYPE_CHECKING

import numpy as np
from pikepdf import Object

from hotfolder.pdf.values.functions import Function, write_sampled, write_stitched
from hotfolder.pdf.values.spaces import Floats
from hotfolder.pdf.walk.blend import CLOSE, Blend
from hotfolder.pdf.walk.outcome import CannotConvert

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

SAMPLES = 65  # of a gradient's only part; where there are many, each gets fewer, and those that need more are halved
_LEAST_SAMPLES = 9
_UNSEEN = 1e-7  # of the whole: on ten metres a micrometre
_MOST_PARTS = 1000
_MOST_BENDS = 500
_LOOKED = 4096  # equal parts in which jumps are looked for
_JUMP = 0.004  # of the output's range
_QUARTER = np.arange(4) / 4

Part = tuple[float, float]


def convert_ramp(walker: "Walker", blend: Blend, function: Function, span: Part) -> Object:
    """The function (7.10.4, of sampled ones) that gives the mapping's colours along `span`."""
    low, high = span
    if low == high:  # one colour all over; a domain needs some width
        inks = np.repeat(blend(function(np.array([[low]]))), 2, axis=0)
        return write_stitched(walker.pdf, [write_sampled(walker.pdf, inks, [0, 1], [2])], [low - 0.5, high + 0.5])
    bends = {b for b in [*function.breaks(), *_jumps(function, span)] if low < b < high}
    edges = [low, *(sorted(bends) if len(bends) <= _MOST_BENDS else []), high]
    # A jump at a bend belongs to the right-hand part (7.10.4), so each part is sampled just short of its end.
    tiny = (high - low) * 1e-9
    spans = [(a if a == low else a + tiny, b if b == high else b - tiny) for a, b in itertools.pairwise(edges)]
    tables = _tables(blend, function, spans, (high - low) * _UNSEEN)
    parts = [write_sampled(walker.pdf, table, [0, 1], [len(table)]) for _, table in tables]
    return write_stitched(walker.pdf, parts, [*(begin for begin, _ in tables), high])


def _tables(blend: Blend, function: Function, spans: list[Part], least: float) -> list[tuple[float, Floats]]:
    """Samples of each part that is even enough, and where it begins. Others are halved until they are, or are so short
    that nobody sees them: the colour in between must be true at the quarters between two samples."""
    tables: list[tuple[float, Floats]] = []
    left, count = spans, SAMPLES
    while count > _LEAST_SAMPLES and count * len(spans) > 16 * SAMPLES:
        count = count // 2 + 1
    while left:
        if len(tables) + len(left) > _MOST_PARTS:
            raise CannotConvert("its colours change too often")
        places = np.concatenate([np.linspace(*part, 4 * count - 3) for part in left])[:, None]
        inks = blend(function(places)).reshape(len(left), 4 * count - 3, -1)
        samples = inks[:, ::4]
        steps = samples[:, 1:] - samples[:, :-1]
        drawn = samples[:, :-1, None] + _QUARTER[:, None] * steps[:, :, None]
        off = blend.apart(drawn, inks[:, :-1].reshape(drawn.shape)).max(axis=(1, 2))
        halves: list[Part] = []
        for (low, high), table, error in zip(left, samples, off, strict=True):
            if error <= CLOSE or high - low < least:
                tables.append((low, table))
            else:
                halves += [(low, (low + high) / 2), ((low + high) / 2, high)]
        left = halves
    return sorted(tables, key=lambda part: part[0])


def _jumps(function: Function, span: Part) -> list[float]:
    """Where a function jumps that doesn't say so itself: a small program with a condition does."""
    if not function.sudden():
        return []
    places = np.linspace(*span, _LOOKED + 1)
    values = function(places[:, None])
    width = np.maximum(np.ptp(values, axis=0), 1e-9)
    steep = np.flatnonzero((abs(np.diff(values, axis=0)) / width).max(axis=1) > _JUMP)
    if len(steep) == 0:
        return []
    low, high = places[steep], places[steep + 1]
    for _ in range(22):
        middle = (low + high) / 2
        at_low, at_middle, at_high = (function(x[:, None]) / width for x in (low, middle, high))
        first = abs(at_middle - at_low).max(axis=1) >= abs(at_high - at_middle).max(axis=1)
        low, high = np.where(first, low, middle), np.where(first, middle, high)
    jump = (abs(function(high[:, None]) - function(low[:, None])) / width).max(axis=1) > _JUMP
    return [float(x) for x in high[jump]]
