"""Shows where what was taken out would have stood: in outline, around the sheet as it prints."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PIL import Image, ImageDraw

from hotfolder.pdf.mappings.drop_hidden import Dropped
from hotfolder.pdf.render import open_pages
from hotfolder.plugin import Box

SIDE = 600  # pixels of the picture's longer side
_FARTHEST = 1.0  # times the sheet's longer side that is shown around it
_AROUND, _LINE = (225, 225, 225), (200, 30, 30)


def outlined(path: Path, page: int, dropped: Sequence[Dropped]) -> Image.Image | None:
    """The page with the boxes of what went; None where it can't be drawn."""
    boxes = [item.box for item in dropped if item.box is not None and item.page == page]
    try:
        with open_pages(path) as pages:
            sheet = pages.sheet(page)
            room = sheet.grown(_FARTHEST * max(sheet.width, sheet.height))
            kept = [part for part in (box.common(room) for box in boxes) if part is not None]
            shown = _around([sheet, *kept])
            drawn = pages.render(page, SIDE * sheet_share(sheet, shown) / max(pages.shown_inches(page)))
    except ValueError:
        return None
    if drawn.rotate:
        return None  # its surroundings would have to be turned too: the words must do
    scale = drawn.size[0] / sheet.width
    picture = Image.new("RGB", (round(shown.width * scale) + 1, round(shown.height * scale) + 1), _AROUND)
    picture.paste(drawn.picture, (round((sheet.left - shown.left) * scale), round((shown.top - sheet.top) * scale)))
    pen = ImageDraw.Draw(picture)
    for box in kept:
        left, top = (box.left - shown.left) * scale, (shown.top - box.top) * scale
        pen.rectangle((left, top, left + box.width * scale, top + box.height * scale), outline=_LINE)
    return picture


def sheet_share(sheet: Box, shown: Box) -> float:
    return max(sheet.width, sheet.height) / max(shown.width, shown.height)


def _around(boxes: Sequence[Box]) -> Box:
    lefts, bottoms, rights, tops = zip(*boxes, strict=True)
    return Box(min(lefts), min(bottoms), max(rights), max(tops))
