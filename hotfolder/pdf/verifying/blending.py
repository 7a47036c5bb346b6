"""Measures what becomes of colours mixed by transparency when they are mixed in the press's inks, no longer in RGB.

Two pictures of the page are compared: as it was designed (blended in RGB, by PDFium), and as it will print (blended ink
by ink on the plates). The comparison leaves out what the ordinary conversion of colours does.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pikepdf

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.plates import make_plates, proof_picture
from hotfolder.pdf.render import Rendered, open_pages
from hotfolder.pdf.verifying.compare import LONG_SIDE, differences, worst_place
from hotfolder.pdf.verifying.screen_views import AsDesigned
from hotfolder.pdf.walk.walker import walk


@dataclass(frozen=True)
class BlendingChange:
    """How far a page's picture moves, in CIEDE2000, by being blended in inks instead of RGB."""

    page: int
    mean: float
    worst: float  # mean over the worst place, 1/80 of the long side across
    box: Box  # that place, in the page's user space


def measure_blending(artwork: Path, page: int, condition: Condition) -> BlendingChange:
    """Measures page `page` (from 1) of artwork that is not converted yet, inside its bleed. It changes nothing.

    It knows the press by the condition's profile alone. ValueError with one sentence where the page can't be drawn.
    """
    try:
        designed = _designed(artwork, page, condition)
        plates = make_plates(artwork, page, designed.ppi, condition, designed.area)
    except pikepdf.PdfError as fault:
        raise ValueError(f"page {page} can't be read") from fault
    found, slack = differences(designed.picture, proof_picture(plates, condition), condition)
    beyond = np.maximum(found - slack, 0)
    worst, place = worst_place(beyond, designed)
    return BlendingChange(page, float(beyond.mean()), worst, place)


def _designed(artwork: Path, page: int, condition: Condition) -> Rendered:
    out = io.BytesIO()
    with pikepdf.open(artwork) as pdf:
        del pdf.pages[page:]
        del pdf.pages[: page - 1]
        boxes = read_boxes(pdf.pages[0])
        ppi = LONG_SIDE / (max(boxes.size(boxes.bleed)) / 72)
        walk(pdf, AsDesigned(condition, ppi))
        pdf.save(
            out, fix_metadata_version=False, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.none
        )
    with open_pages(out.getvalue()) as pages:
        return pages.render(1, ppi, boxes.bleed, paper=False)
