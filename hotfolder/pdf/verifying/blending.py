"""Measures what becomes of colours mixed by transparency when they are mixed in the press's inks, no longer in RGB.

Three pictures of the page are compared: as it was designed (blended in RGB), as its converted colours would look
blended in RGB still, and as it will print (blended ink by ink on the plates). The second one tells the ordinary
conversion of colours apart from what the blending does.
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
from hotfolder.pdf.verifying.compare import LONG_SIDE, differences, plain_differences, worst_place
from hotfolder.pdf.verifying.screen_views import AsConverted, AsDesigned
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.walker import walk

_NOTHING = 1.0  # CIEDE2000: where the worst place has no more, nobody sees it, whatever the cause


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
        designed = _drawn(artwork, page, condition, AsDesigned)
        plates = make_plates(artwork, page, designed.ppi, condition, designed.area)
        printed = proof_picture(plates, condition)
        found, slack = differences(designed.picture, printed, condition)
        found = np.maximum(found - slack, 0)
        if worst_place(found, designed)[0] > _NOTHING:
            converted = _drawn(artwork, page, condition, AsConverted)
            found = np.minimum(found, plain_differences(converted.picture, printed))
    except pikepdf.PdfError as fault:
        raise ValueError(f"page {page} can't be read") from fault
    worst, place = worst_place(found, designed)
    return BlendingChange(page, float(found.mean()), worst, place)


def _drawn(artwork: Path, page: int, condition: Condition, view: type[AsDesigned] | type[AsConverted]) -> Rendered:
    out = io.BytesIO()
    with pikepdf.open(artwork) as pdf:
        del pdf.pages[page:]
        del pdf.pages[: page - 1]
        boxes = read_boxes(pdf.pages[0])
        ppi = LONG_SIDE / (max(boxes.size(boxes.bleed)) / 72)
        mapping: Mapping = view(condition, ppi)
        walk(pdf, mapping)
        pdf.save(out, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.none)
    with open_pages(out.getvalue()) as pages:
        return pages.render(1, ppi, boxes.bleed, paper=False)
