"""Looks whether the artwork came with a whole set of cut marks, so that none need to be drawn."""

from __future__ import annotations

from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.own_marks import find_own_marks
from hotfolder.plugin import MM, Job


def has_own_marks(job: Job) -> bool:
    """Whether on every page cut marks stand at all four corners of the trim, to one millimetre."""
    with job.read() as pdf:
        for number, page in enumerate(pdf.pages, 1):
            try:
                boxes = read_boxes(page)
            except ValueError:
                return False
            found = job.inventory(pdf, number, boxes.user_unit)
            sheet = find_own_marks(found, boxes.media, boxes.trim, boxes.user_unit).sheet
            if sheet is None or max(abs(a - b) for a, b in zip(sheet, boxes.trim, strict=True)) * boxes.user_unit > MM:
                return False
    return True
