"""Gives lines that are too thin to print a least width, so that they don't break up or vanish on the press."""

from __future__ import annotations

from pathlib import Path

from pikepdf import Pdf

from hotfolder.gathered import listed
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.mappings.thicken_lines import Lines, Spot, ThickenLines
from hotfolder.pdf.render import Pages, open_pages
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import Walker
from hotfolder.plugin import Box, Job, Length, Part, Register, Settings, Step, hookimpl, setting

MOST_NAMED = 5  # pages in a sentence
MANY = 100  # lines that may be a hatch, or a map
MOST_TRIED = 3  # places drawn until one shows the change
SEEN_ACROSS = 16.0  # points of paper that a picture shows each way: a line of 0.25 pt is a few pixels wide
ENLARGED_PPI = 1600.0


class ThickenLinesSettings(Settings):
    least_width: Length = setting(
        0.25,
        "Lines thinner than this on paper are drawn at this width (0.25pt: common practice, no published source)",
        unit="length",
        gt=0,
        le=72,
    )


class ThickenLinesStep(Step):
    """Draw lines that come out thinner than the least width, after all scaling, at that width.

    It changes no colour, no shape, no dash, and no line that is wide enough; each other byte of the drawing stays. It
    leaves thin areas, lines in soft masks, and edges in the very colour of the area or letter that they edge.
    """

    name = "thicken_lines"
    reads = frozenset({Part.CONTENT})
    changes = frozenset({Part.CONTENT})
    Settings = ThickenLinesSettings
    settings: ThickenLinesSettings

    def run(self, job: Job) -> None:
        before = job.artwork
        with job.edit() as pdf:
            count = len(pdf.pages)
            mapping = _thicken(pdf, self.settings.least_width)
            if not mapping.done:
                job.unchanged()
        least = f"{self.settings.least_width:g} pt"
        if mapping.done:
            page, spot = _thinnest(mapping.done)
            job.mended(
                "lines_thickened",
                f"{_lines(mapping.done, 'was', 'were')} thinner than {least} on paper; such lines may break up or vanish in print. "
                f"{'It is' if _sum(mapping.done) == 1 else 'They are'} drawn {least} wide now{_where(mapping.done, count)}."
                + (
                    " Where they lie close together, that place comes out darker." if _sum(mapping.done) >= MANY else ""
                ),
                measured=f"thinnest {_points(spot.width)}",
                required=f"at least {least}",
                page=page,
                box=spot.box,
            )
            _show(job, before, mapping.done)
        if mapping.left:
            page, spot = _thinnest(mapping.left)
            job.note(
                "lines_uneven",
                f"{_lines(mapping.left, 'is', 'are')} stretched in one direction, so that {'it is' if _sum(mapping.left) == 1 else 'they are'} "
                f"wide one way and thinner than {least} the other way; that can't be evened out here"
                f"{_where(mapping.left, count)}.",
                measured=f"thinnest {_points(spot.width)}",
                required=f"at least {least}",
                page=page,
                box=spot.box,
                mend="Where it matters, draw these lines again without stretching them, or turn them into areas.",
            )
        if not mapping.done and not mapping.left:
            job.tell(f"No line is thinner than {least} on paper.")


def _thicken(pdf: Pdf, least: float) -> ThickenLines:
    mapping = ThickenLines(least)
    walker = Walker(pdf, mapping, WalkResult())
    for index, page in enumerate(pdf.pages):
        mapping.unit = read_boxes(page).user_unit
        walker.page(page.obj, index + 1)
    return mapping


def _show(job: Job, before: Path, done: dict[int, Lines]) -> None:
    """A place enlarged, before and after: one of the thinnest lines, where the change can be seen."""
    spots = [(page, spot) for page, lines in done.items() for spot in lines.spots if spot.box is not None]
    spots.sort(key=_thinness)
    with open_pages(before) as was, open_pages(job.artwork) as now:
        for page, spot in spots[:MOST_TRIED]:
            area = _area(was, page, spot)
            pictures = [pages.render(page, ENLARGED_PPI, area).picture for pages in (was, now)]
            if pictures[0].tobytes() != pictures[1].tobytes():
                job.show("lines_thickened", *zip(("Before, enlarged", "After, enlarged"), pictures, strict=True))
                return


def _area(pages: Pages, page: int, spot: Spot) -> Box:
    """A small square around a place on the line."""
    sheet, (x, y) = pages.sheet(page), spot.at
    across = SEEN_ACROSS * sheet.width / 72 / pages.shown_inches(page)[0]
    return Box(x - across / 2, y - across / 2, x + across / 2, y + across / 2)


def _thinnest(found: dict[int, Lines]) -> tuple[int, Spot]:
    return min(((page, spot) for page, lines in found.items() for spot in lines.spots), key=_thinness)


def _thinness(place: tuple[int, Spot]) -> tuple[float, float]:
    """The thinnest line first, the longest of several."""
    box = place[1].box
    return round(place[1].width, 3), -max(box.width, box.height) if box is not None else 0.0


def _sum(found: dict[int, Lines]) -> int:
    return sum(lines.count for lines in found.values())


def _lines(found: dict[int, Lines], one: str, several: str) -> str:
    count = _sum(found)
    return f"One line {one}" if count == 1 else f"{count} lines {several}"


def _points(width: float) -> str:
    return f"{width:.2g} pt" if width > 0 else "no width at all"


def _where(found: dict[int, Lines], count: int) -> str:
    pages = [str(page) for page in found]
    more = [f"{len(pages) - MOST_NAMED} more"] if len(pages) > MOST_NAMED else []
    return f" (page{'s' if len(pages) > 1 else ''} {listed(pages[:MOST_NAMED] + more)})" if count > 1 else ""


@hookimpl
def register_steps(register: Register) -> None:
    register(ThickenLinesStep)
