"""Draws the strips along the cut of a page, a little inside it to the end of the bleed, to look at them closely.

Strips and not the page: on a poster they are a tenth of it, and can be drawn finely enough to see a gap of 0.2 mm.
Sides are named as the page is looked at. All lengths here are points of paper (1/72 in), UserUnit counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.render import MOST_ON_A_SIDE, Pages, Rendered, open_pages
from hotfolder.units import INCH, MM

Pixels = NDArray[np.uint8]
Bools = NDArray[np.bool_]

SIDES = ("top", "right", "bottom", "left")  # clockwise
PPI = 254.0  # a pixel is 0.1 mm
INSIDE = 5.5 * MM  # how far inside the cut a strip begins, where nobody asks for more; so one drawing serves all
MOST_STRIP_PIXELS = 12_000_000
MOST_KEPT = 12  # pages of a job whose strips are kept for the next who asks
#: From this on a colour counts as bare paper: less than 3 % of tone need not print (ISO 12647-2 asks for 3 to 97 % on
#: a press; recalled).
PAPER = 248


@dataclass(frozen=True)
class Strip:
    """One side. `pixels`: rows from the outermost inwards, columns from left to right or from top to bottom."""

    side: str
    pixels: Pixels
    outside: int  # rows beyond the cut
    pixel: float  # points of paper in a row and in a column
    drawn: Rendered

    @property
    def length(self) -> float:
        return int(self.pixels.shape[1]) * self.pixel

    @property
    def inwards(self) -> Pixels:
        """The rows inside the cut, beginning at it."""
        return self.pixels[self.outside :]

    @cached_property
    def tone(self) -> Pixels:
        """How far each pixel is from white, 0 to 255."""
        red, green, blue = (self.pixels[:, :, channel] for channel in range(3))
        tone: Pixels = ~np.minimum(np.minimum(red, green), blue)
        return tone

    def rows(self, length: float) -> int:
        return max(1, round(length / self.pixel))

    def box(self, first: int, last: int, outer: int, inner: int) -> Box:
        """The place on the page of columns `first` to `last` and rows `outer` to `inner` (the last ones not counted)."""
        wide, high = self.drawn.size
        across, down = (first, last), (outer, inner)
        if self.side == "bottom":
            down = (high - inner, high - outer)
        elif self.side == "left":
            across, down = (outer, inner), (first, last)
        elif self.side == "right":
            across, down = (wide - inner, wide - outer), (first, last)
        return self.drawn.box(across[0], down[0], across[1], down[1])


Strips = dict[str, Strip]  # by side


def bleed_of(boxes: PageBoxes, trim: Box, bleed: Box) -> dict[str, float]:
    """How far a bleed box, or the page, reaches beyond the trim on each side."""
    drawn = (bleed.top - trim.top, bleed.right - trim.right, trim.bottom - bleed.bottom, trim.left - bleed.left)
    quarter = boxes.rotate // 90
    return {SIDES[(at + quarter) % 4]: length * boxes.user_unit for at, length in enumerate(drawn)}


def edges_ppi(boxes: PageBoxes, trim: Box, depth: float) -> float:
    """The resolution for strips of that depth: PPI, or what a very large page allows."""
    width, height = boxes.size(trim)
    longest, area = max(width, height) / INCH, 2 * (width + height) * depth / INCH**2
    return min(PPI, (MOST_ON_A_SIDE - 2) / max(longest, 1e-3), math.sqrt(MOST_STRIP_PIXELS / max(area, 1e-6)))


def look_along_cut(
    once: Callable[[object, Callable[[], Strips]], Strips],
    source: Path | Pages,
    page: int,
    cut: tuple[PageBoxes, Box],
    bleed: float,
    inside: float = INSIDE,
) -> Strips:
    """The strips of a page, drawn once for all who ask. `once`: the job's; `source`: opened already, if many are asked for.

    ValueError where it can't be drawn.
    """
    inside = max(inside, INSIDE)

    def look() -> Strips:
        if isinstance(source, Pages):
            return draw_edges(source, page, *cut, bleed, inside)
        with open_pages(source) as pages:
            return draw_edges(pages, page, *cut, bleed, inside)

    key = ("edges", page, cut[1], round(bleed, 3), round(inside, 3))
    return once(key, look) if page <= MOST_KEPT else look()


def draw_edges(pages: Pages, page: int, boxes: PageBoxes, trim: Box, bleed: float, inside: float = INSIDE) -> Strips:
    """The four sides by name, each as long as the trim. ValueError where the page can't be drawn.

    What lies off the sheet is white. Annotations that print are drawn; a bleed box cuts nothing off.
    """
    inside = min(inside, *(side / 2 for side in boxes.size(trim)))
    pixel = 72 / edges_ppi(boxes, trim, bleed + inside)
    outer, inner = math.ceil(bleed / pixel - 1e-6), max(1, round(inside / pixel))
    out, into = (rows * pixel / boxes.user_unit for rows in (outer, inner))
    areas = (
        Box(trim.left, trim.top - into, trim.right, trim.top + out),
        Box(trim.right - into, trim.bottom, trim.right + out, trim.top),
        Box(trim.left, trim.bottom - out, trim.right, trim.bottom + into),
        Box(trim.left - out, trim.bottom, trim.left + into, trim.top),
    )
    found = {}
    for at, area in enumerate(areas):
        side = SIDES[(at + boxes.rotate // 90) % 4]
        drawn = pages.render(page, 72 / pixel, area)
        found[side] = Strip(side, _outermost_first(drawn, side), outer, pixel, drawn)
    return found


def _outermost_first(drawn: Rendered, side: str) -> Pixels:
    seen: Pixels = np.asarray(drawn.picture)
    if side in ("left", "right"):
        seen = seen.swapaxes(0, 1)
    return seen[::-1] if side in ("bottom", "right") else seen


def runs(marked: Bools, gap: int = 0) -> list[tuple[int, int]]:
    """Where a row of marks begins and ends (not counted), gaps of up to so many columns closed."""
    steps = np.flatnonzero(np.diff(np.concatenate(([0], marked.astype(np.int8), [0]))))
    found: list[tuple[int, int]] = []
    for first, last in zip(steps[::2].tolist(), steps[1::2].tolist(), strict=True):
        if found and first - found[-1][1] <= gap:
            found[-1] = (found[-1][0], last)
        else:
            found.append((first, last))
    return found


def widened(marked: Bools, by: int) -> Bools:
    """The marks with so many columns added on either side."""
    grown = marked.copy()
    for shift in range(1, min(by, marked.size - 1) + 1):
        grown[shift:] |= marked[:-shift]
        grown[:-shift] |= marked[shift:]
    return grown
