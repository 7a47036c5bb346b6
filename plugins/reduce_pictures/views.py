"""Shows a piece of a picture before and after it was made smaller, as large as both can be told apart."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from hotfolder.pdf.render import render_page
from hotfolder.plugin import INCH, Box

SIDE = 600  # pixels of each view
_PIECE = INCH  # of paper: as it would be looked at closely


def pieces(before: Path, after: Path, page: int, place: Box, unit: float) -> list[tuple[str, Image.Image]]:
    """The middle of the picture, an inch of paper at most; nothing where it can't be drawn."""
    half = min(_PIECE / unit, place.width, place.height) / 2
    x, y = (place.left + place.right) / 2, (place.bottom + place.top) / 2
    area = Box(x - half, y - half, x + half, y + half)
    try:
        ppi = SIDE / (2 * half * unit / INCH)
        return [
            (words, render_page(path, page, ppi, area).picture)
            for words, path in (("Before", before), ("After", after))
        ]
    except (ValueError, ZeroDivisionError):
        return []
