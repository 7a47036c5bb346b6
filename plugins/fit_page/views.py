"""Draws a page before and after, both at the same scale, with the line where it is cut."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from PIL import Image, ImageDraw

from hotfolder.pdf.mending.fitting import Fit
from hotfolder.pdf.render import open_pages
from hotfolder.plugin import Box, show_size

_SIDE, _LEAST = 600, 40  # pixels of the larger picture's longer side; of the smaller one's at least
_CUT = (200, 0, 120)


def both_views(before: Path, after: Path, page: int, fit: Fit) -> list[tuple[str, Image.Image]]:
    """Both pictures with their words; none where the page can't be drawn, which others will tell."""
    width, height = fit.moved.trim
    longest = max(width, height) * max(1.0, 1 / fit.scale) / 72
    ppi = _SIDE / longest / 1.05  # room for the bleed
    with suppress(ValueError):
        return [
            (f"Before: {show_size(*fit.seen)}", _view(before, page, fit.trim, max(ppi, _LEAST / max(fit.seen) * 72))),
            (f"After: {show_size(width, height)}", _view(after, page, fit.cut, ppi)),
        ]
    return []


def _view(path: Path, page: int, trim: Box, ppi: float) -> Image.Image:
    with open_pages(path) as pages:
        drawn = pages.render(page, ppi)
    ImageDraw.Draw(drawn.picture).rectangle(drawn.place(trim), outline=_CUT)
    return drawn.picture
