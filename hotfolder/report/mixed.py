"""Shows what transparency becomes in ink: one place twice, as it was designed and as the plates will print it."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pikepdf
from PIL import Image, ImageDraw

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.plates import make_plates, proof_picture
from hotfolder.pdf.render import open_pages
from hotfolder.pdf.verifying.screen_views import AsDesigned
from hotfolder.pdf.walk.walker import walk
from hotfolder.report import draw, proof

#: Findings about mixed colours; what an ordinary picture of their place shows is mixed by the screen again.
CODES = ("blending_changes", "blending_converted", "blending_kept")
MOST_PAIRS = 3  # each takes about a second
_GAP, _LABEL = 12, 60  # pixels between both, and for the words below; the report shows a quarter of the size


def draw_pair(artwork: Path, page: int, box: Box, condition: Condition) -> Image.Image | None:
    """The place on page `page` (from 1) of artwork that is not converted: as designed on the left, as it prints on the
    right. None where it is off the sheet; ValueError or another of `screen.FAULTS` where it can't be drawn."""
    copy = BytesIO()
    with artwork.open("rb") as stream, pikepdf.open(stream) as pdf:
        boxes = read_boxes(pdf.pages[page - 1])
        area = proof.crop_area(box, boxes)
        if area is None:
            return None
        ppi = proof.crop_ppi(area, boxes)
        del pdf.pages[page:]
        del pdf.pages[: page - 1]
        walk(pdf, AsDesigned(condition, ppi))
        pdf.save(copy, fix_metadata_version=False, compress_streams=False)
    with open_pages(copy.getvalue()) as pages:
        designed = pages.render(1, ppi, area, paper=False)
    plates = make_plates(artwork, page, ppi, condition, area)
    left, top, right, bottom = designed.place(box)
    wide, high = designed.size
    both = Image.new("RGB", (2 * wide + _GAP, high + _LABEL), "white")
    pen = ImageDraw.Draw(both)
    for number, picture in enumerate((designed.picture, proof_picture(plates, condition).resize(designed.size))):
        draw.outline(ImageDraw.Draw(picture), (left - 8, top - 8, right + 8, bottom + 8))
        at = number * (wide + _GAP)
        both.paste(picture, (at, 0))
        middle = (at + wide // 2, high + _LABEL // 2)
        pen.text(
            middle, ("on the screen", "in ink")[number], fill=draw.INK, font=draw.font(_LABEL * 2 // 3), anchor="mm"
        )
    return both
