"""Finds art that ends right along the cut while another colour goes on through the bleed: a photo laid on a ground.

Bare paper beyond the art is `edges_reach`'s. Here the bleed is filled, but not by what stands inside: where the cut is a
little off, a thin strip of the other colour shows. Told apart from art that is meant to be so:
- an edge that slants or bends across the cut ends by its own form, as does one that lies further off the cut;
- a line along the cut, and a frame through it, have the same colour on either side, or no edge there;
- colours that differ little, or fade into each other, leave nothing to see;
- where the bleed shows a picture or a pattern, an edge at the cut may be its own.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.looking.edges import PAPER, Strip, runs
from hotfolder.pdf.looking.edges_reach import CLOSED, NEAR, Stretch
from hotfolder.units import MM

LEAST = 10 * MM  # shorter edges may lie there by chance
APART = 38  # of 255 in one channel (15 %): what differs less isn't seen on a strip of less than a millimetre
QUIET = 12  # of 255: what differs less is one ground
FIRM = 0.75  # of the columns of a stretch have that edge: a photo may have the ground's colour here and there
EVEN = 0.95  # of a stretch has the same ground a millimetre further on
WAVER = 0.7  # pixels by which the edge may lie differently in one third of its length than in another


def ends_over(strip: Strip) -> list[Stretch]:
    """The stretches of a side where art ends along the cut, give or take NEAR, on something that goes on."""
    edges = _edges(strip)
    found: list[Stretch] = []
    while True:
        longest = max((_longest(edges, row, strip) for row in np.unique(edges[edges >= 0])), default=None, key=_length)
        if longest is None or _length(longest) * strip.pixel < LEAST:
            return sorted(found, key=lambda stretch: stretch.first)
        first, last = longest
        lies = edges[first:last]
        if _straight(lies) and _even(strip, first, last):
            beyond = max(0.0, strip.rows(NEAR) - float(np.median(lies[lies >= 0])))
            found.append(Stretch(strip, first, last, beyond * strip.pixel, covered=True))
        edges[first:last] = -1


def _edges(strip: Strip) -> NDArray[np.intp]:
    """For each column the row, from NEAR beyond the cut inwards, where the ground ends and something else begins; -1: none."""
    near = strip.rows(NEAR)
    start, end = strip.outside - near, strip.outside + near + 2
    if start < 2 or end >= strip.pixels.shape[0]:
        return np.full(strip.pixels.shape[1], -1, dtype=np.intp)  # next to no bleed was ordered
    pixels = strip.pixels[:end].astype(np.int16)
    ground = pixels[start - 1]
    apart = _differ(pixels[start - 2 :], ground)  # two rows that are the ground's, then those where it may end
    other = apart >= APART
    row = other.argmax(axis=0)
    sharp = np.take_along_axis(apart, np.maximum(row - 2, 0)[None], axis=0)[0] <= QUIET
    stays = other[-1] & (row >= 2) & sharp  # a line along the cut has the ground again behind it
    goes_on = (_differ(pixels[0], ground) <= 2 * QUIET) & (strip.tone[:start].min(axis=0) > 255 - PAPER)
    return np.where(stays & goes_on, row - 2, -1)


def _differ(one: NDArray[np.int16], other: NDArray[np.int16]) -> NDArray[np.int16]:
    found: NDArray[np.int16] = np.abs(one - other).max(axis=-1)
    return found


def _even(strip: Strip, first: int, last: int) -> bool:
    """Whether what goes on is one ground along the stretch, flat or changing slowly, rather than a picture or a pattern."""
    step = strip.rows(MM)
    middle = strip.pixels[(strip.outside - strip.rows(NEAR)) // 2, first:last].astype(np.int16)
    return bool((_differ(middle[step:], middle[:-step]) <= QUIET).mean() >= EVEN)


def _longest(edges: NDArray[np.intp], row: int, strip: Strip) -> tuple[int, int]:
    """The longest stretch whose edge lies at this row or the next."""
    here = (edges == row) | (edges == row + 1)
    firm = [(first, last) for first, last in runs(here, round(CLOSED / strip.pixel)) if here[first:last].mean() >= FIRM]
    return max(firm, default=(0, 0), key=_length)


def _length(run: tuple[int, int]) -> int:
    return run[1] - run[0]


def _straight(lies: NDArray[np.intp]) -> bool:
    """Whether the edge keeps its distance from the cut, neither slanting nor bending."""
    thirds = [part[part >= 0] for part in np.array_split(lies, 3)]
    means = [float(part.mean()) for part in thirds if part.size]
    return len(means) == 3 and max(means) - min(means) <= WAVER
