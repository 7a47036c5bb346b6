"""Where each picture of the artwork is placed largest, and which of them never show."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from pikepdf import Page, Pdf

from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.census import Placement, placements
from hotfolder.pdf.looking.inventory import Kind, take_inventory
from hotfolder.plugin import Box, Job

STRETCHED = 1.1  # resolutions across and up that differ by more than a tenth
LEAST_PIXELS = 16  # a side of fewer is a gradient or a flat tone rather than a picture; it may be stretched
SKEWED = math.sin(math.radians(2))  # sides that are further than this from a right angle


@dataclass(frozen=True)
class Use:
    """A picture where it has its least resolution, and how often it is placed."""

    placed: Placement
    ppi: float
    times: int = 1

    @property
    def even(self) -> int:
        """The resolution as people are told it; sizes in a file are rounded, and 149.6 is 150."""
        return round(self.ppi)

    @property
    def box(self) -> Box:
        return Box(*self.placed.box)

    @property
    def size(self) -> tuple[float, float]:
        """Length of its two sides on paper, in points."""
        sides = ((self.placed.width, self.placed.ppi_x), (self.placed.height, self.placed.ppi_y))
        across, up = (pixels / ppi * 72 if ppi > 0 else 0.0 for pixels, ppi in sides)
        return across, up

    @property
    def is_picture(self) -> bool:
        """Whether it has pixels enough to be more than a gradient or a flat tone, and an area."""
        placed = self.placed
        ppis = placed.ppi_x, placed.ppi_y
        return min(placed.width, placed.height) >= LEAST_PIXELS and min(ppis) > 0 and max(ppis) < math.inf

    @property
    def is_stretched(self) -> bool:
        across, up = self.placed.ppi_x, self.placed.ppi_y
        return self.is_picture and max(across, up) / min(across, up) > STRETCHED

    @property
    def is_mirrored(self) -> bool:
        a, b, c, d, _, _ = self.placed.matrix
        return self.is_picture and a * d - b * c < 0

    @property
    def is_skewed(self) -> bool:
        a, b, c, d, _, _ = self.placed.matrix
        return self.is_picture and abs(a * c + b * d) > SKEWED * math.hypot(a, b) * math.hypot(c, d)


def largest_uses(job: Job, pdf: Pdf, least_side: float) -> tuple[list[Use], set[tuple[int, int]]]:
    """Each picture that shows inside the bleed, where it has its least resolution; and those that are placed, but show
    nowhere at all: outside of the bleed, cropped away, or without opacity."""
    uses: dict[object, Use] = {}
    placed_times, hidden_times = Counter[object](), Counter[object]()
    for number, page in enumerate(pdf.pages, 1):
        hidden_times += _hidden(job, pdf, page, number)
        for use, shows in _on_page(page, number, placed_times):
            if not shows or max(use.size) <= least_side or not math.isfinite(use.ppi):
                continue
            # Pictures inside the content have no identity of their own: equal ones count as one.
            key = use.placed.object_id or (use.placed.width, use.placed.height, round(use.ppi, 1))
            worst = min(uses.get(key, use), use, key=lambda one: one.ppi)
            uses[key] = Use(worst.placed, worst.ppi, uses[key].times + 1 if key in uses else 1)
    # One that is also placed in a pattern or a mask, which no list of what shows has, is left in doubt.
    hidden = {key for key, times in hidden_times.items() if times == placed_times[key] and isinstance(key, tuple)}
    return [use for key, use in uses.items() if key not in hidden], hidden


def _on_page(page: Page, number: int, times: Counter[object]) -> Iterator[tuple[Use, bool]]:
    try:
        area = read_boxes(page).bleed
    except ValueError:  # check_geometry tells; here everything counts
        area = None
    for placed in placements(page, number):
        times[placed.object_id] += 1
        use = Use(placed, resolution(placed))
        yield use, area is None or use.box.common(area) is not None


def _hidden(job: Job, pdf: Pdf, page: Page, number: int) -> Counter[object]:
    """How often each picture of a page is placed without showing."""
    found = Counter[object]()
    try:
        boxes = read_boxes(page)
    except ValueError:
        return found
    inventory = job.once(("inventory", number), partial(take_inventory, pdf, number, boxes.user_unit))
    if inventory.left_out:
        return found
    for item in inventory.objects:
        if item.kind in (Kind.PICTURE, Kind.STENCIL) and item.key is not None:
            shows = item.seen and item.box is not None and item.box.common(boxes.bleed) is not None
            found[item.key] += not shows
    return +found


def resolution(placed: Placement) -> float:
    """The lesser of both resolutions; a side of a single pixel is one flat tone along it and doesn't count."""
    sides = ((placed.width, placed.ppi_x), (placed.height, placed.ppi_y))
    return min((ppi for pixels, ppi in sides if pixels > 1 and ppi > 0), default=math.inf)
