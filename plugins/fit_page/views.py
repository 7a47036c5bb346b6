"""Draws a page before and after, both at the same scale, with the line where it is cut."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from PIL import Image, ImageDraw

from hotfolder.pdf.mending.fitting import Fit
from hotfolder.pdf.render import open_pages
from hotfolder.plugin import Box, show_size

_SIDE, _LEAST = 600, 40  # pixels of the larger picture's longer side; of the smaller one's at least
_CUT, _AROUND = (200, 0, 120), (214, 215, 210)


def both_views(before: Path, after: Path, page: int, fit: Fit) -> list[tuple[str, Image.Image]]:
    """Both pictures with their words; none where the page can't be drawn, which others will tell."""
    width, height = fit.moved.trim
    longest = max(width, height) * max(1.0, 1 / fit.scale) / 72
    ppi = _SIDE / longest / 1.05  # room for the bleed
    with suppress(ValueError):
        was = _view(before, page, fit.trim, max(ppi, _LEAST / max(fit.seen) * 72))
        came = _view(after, page, fit.cut, ppi)
        size = max(was.width, came.width), max(was.height, came.height)
        words = f"Before: {show_size(*fit.seen)}", f"After: {show_size(width, height)}"
        return [(said, _in_the_middle(picture, size)) for said, picture in zip(words, (was, came), strict=True)]
    return []


def _in_the_middle(picture: Image.Image, size: tuple[int, int]) -> Image.Image:
    """Both pictures are shown alike, so the smaller one gets room around."""
    room = Image.new("RGB", size, _AROUND)
    room.paste(picture, ((size[0] - picture.width) // 2, (size[1] - picture.height) // 2))
    return room


def _view(path: Path, page: int, trim: Box, ppi: float) -> Image.Image:
    with open_pages(path) as pages:
        drawn = pages.render(page, ppi)
    ImageDraw.Draw(drawn.picture).rectangle(drawn.place(trim), outline=_CUT)
    return drawn.picture
