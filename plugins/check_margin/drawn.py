"""Looks at the drawn page where something stands near the cut: whether anything shows there, and where it begins."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.render import Rendered
from hotfolder.plugin import Box

from .edges import Edges

_PALE = 14  # levels of 255 up to which two colours count as one
_CLEAR = 28  # levels from which something stands out from its ground
_SURE = 1.5  # pixels by which what is seen must differ from an exact box to count
_AROUND = 2  # pixels looked at around a box

Pixels = NDArray[np.int16]


class Drawn:
    """The page as it will look, over the trim and a little beyond."""

    def __init__(self, rendered: Rendered, edges: Edges) -> None:
        self._rendered, self._edges = rendered, edges
        self._pixels = np.asarray(rendered.picture)
        self._trim = rendered.place(edges.trim)

    def distance(self, box: Box, side: str, said: float, *, exact: bool) -> float | None:
        """How far from this side of the trim the first thing shows that stands out from its ground, in points.

        What the box says where it is `exact` and agrees, or where the ground is too lively to tell; None where nothing stands out within the margin, as
        with white letters on bare paper, or empty edges of a picture.
        """
        region, first = self._towards(side, box)
        if region is None or region.shape[0] <= _AROUND:
            return said
        ground = region[:_AROUND]
        if _spread(region) <= _PALE:
            return None
        if _spread(ground) > _PALE:
            return said
        stands_out = (abs(region - np.median(ground, axis=(0, 1))).max(axis=2) > _CLEAR).any(axis=1)
        if not stands_out.any():
            return None
        seen = (first + int(stands_out.argmax())) * 72 / self._rendered.ppi
        sure = _SURE * 72 / self._rendered.ppi if exact else 0.0
        return seen if seen > said + sure else said

    def _towards(self, side: str, box: Box) -> tuple[Pixels | None, int]:
        """The pixels of a box as far as they lie in the margin: rows from this side inwards, and how many pixels inside
        the trim the first row is."""
        left, top, right, bottom = self._rendered.place(box)
        deep = round((self._edges.margin) * self._rendered.ppi / 72) + _AROUND
        height, width = self._pixels.shape[:2]
        trim = dict(zip(("left", "top", "right", "bottom"), self._trim, strict=True))
        spans = {
            "left": (left - _AROUND, min(right + _AROUND, trim["left"] + deep), top - _AROUND, bottom + _AROUND),
            "right": (max(left - _AROUND, trim["right"] - deep), right + _AROUND, top - _AROUND, bottom + _AROUND),
            "top": (left - _AROUND, right + _AROUND, top - _AROUND, min(bottom + _AROUND, trim["top"] + deep)),
            "bottom": (left - _AROUND, right + _AROUND, max(top - _AROUND, trim["bottom"] - deep), bottom + _AROUND),
        }
        x0, x1, y0, y1 = spans[side]
        cut = {"left": x0 < 0, "right": x1 > width, "top": y0 < 0, "bottom": y1 > height}[side]
        x0, x1, y0, y1 = max(x0, 0), min(x1, width), max(y0, 0), min(y1, height)
        if cut or x0 >= x1 or y0 >= y1:
            return None, 0
        part: Pixels = self._pixels[y0:y1, x0:x1].astype(np.int16)
        if side == "left":
            return part.transpose(1, 0, 2), x0 - trim["left"]
        if side == "right":
            return part[:, ::-1].transpose(1, 0, 2), trim["right"] - x1
        return (part, y0 - trim["top"]) if side == "top" else (part[::-1], trim["bottom"] - y1)


def _spread(pixels: Pixels) -> int:
    return int((pixels.max(axis=(0, 1)) - pixels.min(axis=(0, 1))).max())
