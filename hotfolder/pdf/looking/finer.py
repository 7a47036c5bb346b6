"""Finds the pictures that are finer than anybody can see at the size at which they are printed."""

import math

import pikepdf

from hotfolder.pdf.looking.census import Placement, placements


def largest_placements(pdf: pikepdf.Pdf) -> dict[tuple[int, int], Placement]:
    """Where each picture has its least resolution (the lesser of across and up), in all of the file, by object. Pictures
    inside the drawing instructions have no object."""
    found: dict[tuple[int, int], Placement] = {}
    for number, page in enumerate(pdf.pages, 1):
        for placed in placements(page, number):
            if placed.object_id is not None:
                known = found.get(placed.object_id, placed)
                found[placed.object_id] = min(known, placed, key=lambda one: one.ppi)
    return found


def finer_pictures(pdf: pikepdf.Pdf, ppi: float) -> dict[tuple[int, int], float]:
    """How many times finer than `ppi` each picture is where it is placed largest, by object; those that are not, not."""
    times = {key: placed.ppi / ppi for key, placed in largest_placements(pdf).items()}
    return {key: finer for key, finer in times.items() if 1 < finer < math.inf}
