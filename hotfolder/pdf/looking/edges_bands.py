"""Looks inwards from the cut for even bands: frames and stripes whose width shows when the cut is a little off.

A band is one colour all along a side, from the cut to a sharp edge that runs along it. A ground of one colour has no
such edge nearby; a gradient has none that is sharp; a picture's own content has none that is straight.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.looking.edges import PAPER, Strip, Strips
from hotfolder.pdf.looking.edges_reach import NEAR
from hotfolder.units import MM

Tones = NDArray[np.int16]

EACH = 8  # only every eighth column is looked at: 0.8 mm from one to the next
OPPOSITE = (("top", "bottom"), ("right", "left"))
FIRST = 0.3 * MM  # from here inwards a band has its colour; at the cut itself rounding may leave a hair line of another
EVEN, OTHER, SHARP = 16, 24, 20  # levels of 255: noise of packed pictures, another colour, a step that is an edge
SAME = 32  # the colours of two sides that belong to one frame
SEEN = 60  # by so much a line must be darker than its ground to be seen
ALL, MOST = 0.95, 0.75  # of a side's length: a line is whole, a band may be broken by art that crosses it
WAVER = 0.2 * MM  # by which the edge may waver
LINE = 0.3 * MM  # a line along the cut reaches no further to either side


@dataclass(frozen=True)
class Band:
    """One side's even band: how wide it shows inside the cut, and its colour in the picture (red, green, blue)."""

    strip: Strip
    width: float
    colour: tuple[int, int, int]

    @property
    def sliver(self) -> bool:
        """Whether it is paper that shows because the art falls a little short of the cut."""
        return self.white and self.width <= NEAR + self.strip.pixel

    @property
    def white(self) -> bool:
        return min(self.colour) >= PAPER


def band(strip: Strip, widest: float) -> Band | None:
    """The band along a side, if there is one that is no wider."""
    corner = strip.rows(widest) + strip.rows(MM)  # the bands of the sides beside it
    seen = strip.inwards[: corner + 1, corner:-corner:EACH]
    first = strip.rows(FIRST)
    if seen.shape[0] <= first + 2 or seen.shape[1] * EACH < 4 * corner:
        return None
    colour = np.median(seen[first], axis=0)
    even = _apart(seen[first], colour) <= EVEN
    if even.mean() < MOST:
        return None  # as most sides are
    pixels = seen.astype(np.int16)
    other = _apart(pixels[first:], colour) > OTHER
    depth = np.where(even & other.any(axis=0), other.argmax(axis=0) + first, pixels.shape[0])
    if (depth < pixels.shape[0]).mean() < MOST:
        return None
    edge = float(np.median(depth[depth < pixels.shape[0]]))
    straight = np.abs(depth - edge) <= strip.rows(WAVER)
    if straight.mean() < MOST or not 0 < edge * strip.pixel <= widest + strip.pixel:
        return None
    if not _sharp(pixels[:, straight], depth[straight]):
        return None
    return Band(strip, edge * strip.pixel, (int(colour[0]), int(colour[1]), int(colour[2])))


def _apart(pixels: NDArray[Any], colour: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far pixels are from a colour in the channel in which they are farthest."""
    red, green, blue = (np.abs(pixels[..., channel] - colour[channel]) for channel in range(3))
    return np.asarray(np.maximum(np.maximum(red, green), blue))


def _sharp(pixels: Tones, depth: NDArray[np.intp]) -> bool:
    columns = np.arange(pixels.shape[1])
    before, after = np.maximum(depth - 2, 0), np.minimum(depth + 1, pixels.shape[0] - 1)
    return float(np.median(np.abs(pixels[after, columns] - pixels[before, columns]).max(axis=1))) >= SHARP


def line_on_cut(strip: Strip) -> bool:
    """Whether a thin line, darker than what lies on either side of it, runs along the cut."""
    thin = strip.rows(LINE)
    near = strip.pixels[max(0, strip.outside - 2 * thin) : strip.outside + 3 * thin, ::EACH]
    tone = 255 - near.mean(axis=2, dtype=np.float32)
    cut = min(strip.outside, 2 * thin)  # its row in these
    inside = tone[cut + thin :]
    at_cut = tone[max(0, cut - thin) : cut + thin].max(axis=0)
    ground = np.median(inside, axis=0)
    darker = (at_cut - ground > SEEN) & (np.ptp(inside, axis=0) <= EVEN)
    if cut == 2 * thin:  # where there is room to look: beyond it the ground is as inside
        darker &= np.abs(np.median(tone[:thin], axis=0) - ground) <= OTHER
    return bool(darker.mean() >= ALL)


def frames(strips: Strips, widest: float) -> tuple[list[Band], list[Band]]:
    """The bands that make a frame (of one colour, two of them opposite each other), and single stripes."""
    bands = {side: found for side, strip in strips.items() if (found := band(strip, widest)) is not None}
    framing: set[str] = set()
    for one, other in OPPOSITE:
        if one in bands and other in bands and _alike(bands[one], bands[other]):
            framing |= {side for side, found in bands.items() if _alike(found, bands[one])}
    return [bands[side] for side in bands if side in framing], [bands[side] for side in bands if side not in framing]


def _alike(one: Band, other: Band) -> bool:
    return max(abs(a - b) for a, b in zip(one.colour, other.colour, strict=True)) <= SAME
