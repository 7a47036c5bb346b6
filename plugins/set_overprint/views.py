"""A place before and after: as the press prints it, or as it prints when the inks don't meet exactly."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.plates import Plates, make_plates, proof_picture
from hotfolder.plugin import MM, Box, Job

OFF = 0.2 * MM  # a plate this far off is nothing unusual on a sheet (common practice, no published source)
SIDE = 500  # pixels
LEAST, MOST = 12.0, 200.0  # points of paper across: letters of the one size fill the picture, a field of the other too


def pictures(job: Job, before: Path, number: int, box: Box, *, apart: bool) -> list[tuple[str, Image.Image]]:
    """Before and after around a box; `apart`: with the black plate off. None where it can't be drawn."""
    with job.read() as pdf:
        boxes = read_boxes(pdf.pages[number - 1])
    area = _area(box, boxes.user_unit).common(boxes.media)
    if area is None:
        return []
    ppi = SIDE * 72 / (max(area.width, area.height) * boxes.user_unit)
    try:
        pair = [make_plates(path, number, ppi, job.condition, area) for path in (before, job.artwork)]
    except ValueError:  # a page that can't be drawn is told of by others
        return []
    if apart:
        for plates in pair:
            _move_black(plates)
    how = ", when the inks don't meet exactly" if apart else ", as the press prints it"
    return [
        (word + how, proof_picture(plates, job.condition))
        for word, plates in zip(("Before", "After"), pair, strict=True)
    ]


def _area(box: Box, unit: float) -> Box:
    """A square with the box's left end in it, of a size at which the edge of a letter can be seen."""
    side = min(max(box.height * 1.5, box.width * 1.2, LEAST / unit), MOST / unit)
    left = min(box.left - 0.1 * side, (box.left + box.right - side) / 2) if box.width < side else box.left - 0.1 * side
    bottom = (box.bottom + box.top - side) / 2
    return Box(left, bottom, left + side, bottom + side)


def _move_black(plates: Plates) -> None:
    pixels = max(1, round(OFF / 72 * plates.ppi))
    black = plates.coverage["Black"]
    if min(black.shape) > pixels:
        moved = np.roll(black, (pixels, pixels), (0, 1))
        moved[:pixels], moved[:, :pixels] = black[:pixels], black[:, :pixels]
        plates.coverage["Black"] = moved
