"""Sees the edge of a page's art: does it go on beyond the page's boxes, is all white there, where does most happen?

The page is drawn as if its sheet were larger, because programs often write art that reaches past the page's edge and
show only what lies inside.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hotfolder.finding import Box
from hotfolder.pdf.mending.make_bleed_plan import Plan
from hotfolder.pdf.render import Pages, Rendered

_LONG_SIDE, _MOST_PPI = 2600, 150.0  # pixels of the sheet's longer side at most
_WHITE = 251  # of 255: what is lighter in red, green and blue counts as paper
_GOES_ON = 0.97  # the share of the art along an edge behind which there must be art outside it
_REACHES = 0.9  # the share of it that must reach to the end of the ring
_ALIKE = 32  # of 255: how far colours on both sides of an edge may differ on the mean

_Line = NDArray[np.float64]


@dataclass(frozen=True)
class Edges:
    """One page drawn with the ring around its art, whatever its boxes say."""

    view: Rendered

    @property
    def pixel(self) -> float:
        """What a pixel is in units of the page's space."""
        return self.view.area.width / self.view.size[self.view.rotate % 180 // 90]

    def goes_on(self, art: Box, wanted: Box, at: int) -> bool:
        """Whether the art itself is drawn beyond that side, all along it and as far as it is wanted."""
        inside, outside, end = self._line(art, at, -1), self._line(art, at, 1), self._line(wanted, at, -1)
        there = _coloured(inside)
        if not there.any() or _coloured(outside)[there].mean() < _GOES_ON:
            return False
        reaches = _coloured(end).sum() >= _REACHES * there.sum()
        return bool(reaches and abs(inside - outside)[there].mean() < _ALIKE)

    def detail(self, art: Box, at: int) -> float:
        """How much happens along one side of the art: the sum of all steps in colour, 0 on a plain background."""
        return float(_steps(self._line(art, at, -1)).sum())

    def busiest(self, art: Box, at: int) -> float:
        """Where along one side of the art most happens, as x or y of the page's space: a seam shows there first."""
        steps = _steps(self._line(art, at, -1))
        window = max(1, len(steps) // 20)
        middle = float(np.convolve(steps, np.ones(window), mode="same").argmax() + 0.5) / len(steps)
        low, high = art[(at + 1) % 2], art[(at + 1) % 2 + 2]
        return high - middle * (high - low) if self._backwards(at) else low + middle * (high - low)

    def variety(self, box: Box) -> float:
        """How much the colours in a part of the page differ."""
        shown = box.common(self.view.area)
        return float(self._part(shown).std()) if shown is not None else 0.0

    def _backwards(self, at: int) -> bool:
        """Whether the pixels along a side run against its direction in the page's space."""
        x = at % 2 == 1
        start, end = self.view.point(0, 0), self.view.point(*((1, 0) if x else (0, 1)))
        return end[0] + end[1] < start[0] + start[1]

    def is_white(self, box: Box) -> bool:
        return bool((self._part(box) >= _WHITE).all())

    def _line(self, box: Box, at: int, step: int) -> _Line:
        """The colours along one side of a box, in a line of one pixel: (n, 3). `step`: 1 just outside, -1 just inside.

        The pixel that the side itself runs through belongs to neither.
        """
        pixel, outwards = self.pixel, step * (-1 if at < 2 else 1)
        sides = list(box)
        sides[at], sides[(at + 2) % 4] = sorted(
            (box[at] + outwards * 0.6 * pixel, box[at] + outwards * 1.6 * pixel), reverse=at > 1
        )
        part = self._part(Box(*sides)).astype(np.float64)
        return np.asarray(part.mean(axis=1 if part.shape[0] > part.shape[1] else 0))

    def _part(self, box: Box) -> NDArray[np.uint8]:
        """The pixels of a box, at least one each way."""
        left, top, right, bottom = self.view.place(box)
        return np.asarray(self.view.picture.crop((left, top, max(right, left + 1), max(bottom, top + 1))))


def look_at_edges(pages: Pages, plan: Plan) -> Edges:
    """Draw the page of a plan as far as its bleed is wanted. ValueError with one sentence where it can't be drawn."""
    wide, high = pages.shown_inches(plan.number, plan.wanted)
    ppi = min(_MOST_PPI, _LONG_SIDE / max(wide, high))
    return Edges(pages.render(plan.number, ppi, plan.wanted, beyond=True))


def _steps(line: _Line) -> NDArray[np.float64]:
    return np.asarray(abs(np.diff(line, axis=0, prepend=line[:1])).sum(axis=1))


def _coloured(line: _Line) -> NDArray[np.bool_]:
    return np.asarray((line < _WHITE).any(axis=1))
