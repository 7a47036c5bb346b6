"""Checks that every picture has enough pixels for the size at which it is printed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pikepdf import Page

from hotfolder.finding import Level
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.census import Placement, placements
from hotfolder.plugin import (
    MM,
    Box,
    Job,
    Length,
    Part,
    Register,
    Settings,
    Step,
    hookimpl,
    setting,
    show_size,
)

STRETCHED = 1.1  # resolutions across and up that differ by more than a tenth
LEAST_PIXELS = 16  # a side of fewer is a gradient or a flat tone rather than a picture; it may be stretched
PPI = "pixels per inch"


class CheckPicturesSettings(Settings):
    hold_below: float = setting(100.0, "Hold below this part of the ticket's `least_ppi`", unit="%", ge=0, le=1000)
    note_below: float = setting(125.0, "Note below this part of the ticket's `least_ppi`", unit="%", ge=0, le=1000)
    least_line_art_ppi: float = setting(
        600.0, "Note black-and-white line art of less than this (common practice)", unit="ppi", ge=0, le=10_000
    )
    least_side: Length = setting(2 * MM, "A picture with no side longer than this is not judged", unit="length")
    most_findings: int = setting(10, "How many pictures to tell of one by one; the rest are counted", ge=1, le=1000)


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


class CheckPictures(Step):
    """Compare the resolution of every placed picture, after all scaling, with the ticket's least one.

    It does not look at the pixels: a picture that was enlarged beforehand has enough of them and is soft all the same.
    """

    name = "check_pictures"
    reads = frozenset({Part.PICTURES})
    Settings = CheckPicturesSettings
    settings: CheckPicturesSettings

    def run(self, job: Job) -> None:
        uses: dict[object, Use] = {}
        with job.read() as pdf:
            count = len(pdf.pages)
            for number, page in enumerate(pdf.pages, 1):
                for use in self._page(page, number):
                    # Pictures inside the content have no identity of their own: equal ones count as one.
                    key = use.placed.object_id or (use.placed.width, use.placed.height, round(use.ppi, 1))
                    worst = min(uses.get(key, use), use, key=lambda one: one.ppi)
                    uses[key] = Use(worst.placed, worst.ppi, uses[key].times + 1 if key in uses else 1)
        held = self._judge(job, list(uses.values()), count)
        if not held:
            least = min((use.ppi for use in uses.values()), default=0)
            which = "The picture has" if len(uses) == 1 else f"All {len(uses)} pictures have"
            job.tell(f"{which} {least:.0f} {PPI} or more." if uses else "There are no pictures.")

    def _page(self, page: Page, number: int) -> Iterator[Use]:
        """The pictures that show on a page, inside the bleed."""
        try:
            area = read_boxes(page).bleed
        except ValueError:  # check_geometry tells; here everything counts
            area = None
        for placed in placements(page, number):
            use = Use(placed, _resolution(placed))
            shows = area is None or use.box.common(area) is not None
            if shows and math.isfinite(use.ppi) and max(use.size) > self.settings.least_side:
                yield use

    def _judge(self, job: Job, uses: list[Use], count: int) -> bool:
        least, settings = job.ticket.least_ppi, self.settings
        floor, modest = least * settings.hold_below / 100, least * settings.note_below / 100
        coarse = [use for use in uses if use.even < floor]
        lines = [use for use in uses if use.placed.bits == 1 and floor <= use.even < settings.least_line_art_ppi]
        tight = [use for use in uses if use.placed.bits != 1 and floor <= use.even < modest]
        stretched = [use for use in uses if _is_stretched(use.placed)]
        for code, level, found, needed in (
            ("coarse_picture", Level.HOLD, coarse, floor),
            ("modest_picture", Level.NOTE, tight, modest),
            ("coarse_line_art", Level.NOTE, lines, settings.least_line_art_ppi),
            ("stretched_picture", Level.NOTE, stretched, 0.0),
        ):
            self._tell(job, code, level, sorted(found, key=lambda use: use.ppi), needed, count)
        return bool(coarse)

    def _tell(self, job: Job, code: str, level: Level, found: Sequence[Use], needed: float, count: int) -> None:
        report = job.hold if level is Level.HOLD else job.note
        for use in found[: self.settings.most_findings]:
            report(
                code,
                f"{_which(use, count)} {_WORDS[code].format(ppi=f'{use.ppi:.0f}', needed=f'{needed:g}')}",
                measured=f"{use.ppi:.0f} ppi" if needed else f"{use.placed.ppi_x:.0f} × {use.placed.ppi_y:.0f} ppi",
                required=f"{needed:g} ppi" if needed else "the same across and up",
                page=use.placed.page,
                box=use.box,
                mend=_mend(use, needed, job.kind, level)
                if needed
                else "If that isn't meant, scale it evenly in the layout.",
            )
        rest = found[self.settings.most_findings :]
        if rest:
            message = f"{len(rest)} more picture{'s' if len(rest) > 1 else ''}: the same. The next has {rest[0].ppi:.0f} {PPI}."
            report(code, message, measured=f"{len(rest)} more", page=rest[0].placed.page, box=rest[0].box)


_WORDS = {
    "coarse_picture": "has only {ppi} pixels per inch at that size; at least {needed} are needed, or it prints blurred.",
    "modest_picture": "has {ppi} pixels per inch at that size: enough, but not plenty ({needed} would be).",
    "coarse_line_art": "is black-and-white line art of {ppi} pixels per inch; below {needed} its edges may look ragged.",
    "stretched_picture": "is stretched: more in one direction than in the other.",
}


def _resolution(placed: Placement) -> float:
    """The lesser of both resolutions; a side of a single pixel is one flat tone along it and doesn't count."""
    sides = ((placed.width, placed.ppi_x), (placed.height, placed.ppi_y))
    return min((ppi for pixels, ppi in sides if pixels > 1 and ppi > 0), default=math.inf)


def _is_stretched(placed: Placement) -> bool:
    across, up = placed.ppi_x, placed.ppi_y
    real = min(placed.width, placed.height) >= LEAST_PIXELS and min(across, up) > 0 and max(across, up) < math.inf
    return real and max(across, up) / min(across, up) > STRETCHED


def _which(use: Use, count: int) -> str:
    start = f"On page {use.placed.page} a" if count > 1 else "A"
    often = f", placed {use.times} times" if use.times > 1 else ""
    return f"{start} picture of {use.placed.width} × {use.placed.height} pixels, {show_size(*use.size)}{often},"


def _mend(use: Use, needed: float, kind: str, level: Level) -> str:
    factor = needed / use.ppi
    pixels = f"{math.ceil(use.placed.width * factor)} × {math.ceil(use.placed.height * factor)} pixels"
    largest = show_size(*(side / factor for side in use.size))
    if kind in ("", "pdf"):
        way = f"place the picture in its original quality, at least {pixels}, or show it no larger than {largest}."
    else:  # the picture is the poster: nothing was placed, and its size was ordered
        way = f"drop the picture in its original quality, at least {pixels}, or order a poster of no more than {largest}, bleed included."
    start = "It can stay as it is. For more detail, " if level is Level.NOTE else ""
    return f"{start}{way if start else way[:1].upper() + way[1:]} Enlarging the same file in a program adds no detail."


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckPictures)
