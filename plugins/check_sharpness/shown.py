"""Which pictures show on the pages, and how large."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial

from pikepdf import Pdf

from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.inventory import Kind, Painted, take_inventory
from hotfolder.pdf.objects import entry, whole
from hotfolder.plugin import Box, Job


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture where it is shown largest. `size`: its sides on paper in points; `ppi`: the lesser resolution."""

    page: int
    box: Box
    key: tuple[int, int]
    pixels: tuple[int, int]
    size: tuple[float, float]

    @property
    def ppi(self) -> float:
        return min(pixels / side * 72 for pixels, side in zip(self.pixels, self.size, strict=True))


def shown_pictures(job: Job, pdf: Pdf) -> Iterable[Shown]:
    """Every picture that shows, once, where it is shown largest. Pictures inside the drawing instructions are left out:
    they are small."""
    found: dict[tuple[int, int], Shown] = {}
    for number, page in enumerate(pdf.pages, 1):
        try:
            boxes = read_boxes(page)
        except ValueError:  # check_geometry tells
            continue
        inventory = job.once(("inventory", number), partial(take_inventory, pdf, number, boxes.user_unit))
        for item in inventory.objects:
            shown = _shown(pdf, item, number, boxes.user_unit)
            if shown is not None and boxes.bleed.common(shown.box) is not None:
                known = found.get(shown.key, shown)
                found[shown.key] = min(known, shown, key=lambda one: one.ppi)
    return found.values()


def _shown(pdf: Pdf, item: Painted, page: int, unit: float) -> Shown | None:
    if item.kind is not Kind.PICTURE or not item.seen or item.box is None or item.key is None:
        return None
    picture = pdf.get_object(item.key)
    try:
        pixels = whole(entry(picture, "/Width")), whole(entry(picture, "/Height"))
    except ValueError:
        return None
    a, b, c, d, _, _ = item.matrix
    size = math.hypot(a, b) * unit, math.hypot(c, d) * unit
    return Shown(page, item.box, item.key, pixels, size) if min(size) > 0 and min(pixels) > 0 else None
