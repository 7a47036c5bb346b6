"""Finds the pictures that are finer than anybody can see at the size at which they are printed."""

import math

import pikepdf

from hotfolder.pdf.looking.census import placements


def finer_pictures(pdf: pikepdf.Pdf, ppi: float) -> dict[tuple[int, int], float]:
    """How many times finer than `ppi` each picture is where it is placed largest, by object; those that are not, not.

    The lesser of its resolutions across and up counts. Pictures inside the drawing instructions have no object.
    """
    found: dict[tuple[int, int], float] = {}
    for number, page in enumerate(pdf.pages, 1):
        for placed in placements(page, number):
            if placed.object_id is not None:
                known = found.get(placed.object_id, math.inf)
                found[placed.object_id] = min(known, placed.ppi / ppi)
    return {key: times for key, times in found.items() if 1 < times < math.inf}
