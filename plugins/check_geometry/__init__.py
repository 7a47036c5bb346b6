"""Checks that the poster has the ordered size, the ordered number of pages, and enough bleed on all four sides."""

from __future__ import annotations

from collections.abc import Iterator

from pikepdf import Page

from hotfolder.gathered import Found, Gathered, listed
from hotfolder.pdf.boxes import SLACK, PageBoxes, cut_of, read_boxes, size_matches
from hotfolder.pdf.looking.edges import SIDES, bleed_of, look_along_cut
from hotfolder.pdf.looking.edges_reach import reaches_cut
from hotfolder.plugin import (
    MM,
    Box,
    Job,
    Length,
    Level,
    Part,
    Register,
    Settings,
    Size,
    Step,
    Ticket,
    hookimpl,
    setting,
    show_length,
    show_size,
)

from .words import MOST_EXTRA, best_way, explain_size

Sizes = dict[int, tuple[float, float]]  # page, counted from 1 -> trim size in points as it is looked at
Bleeds = list[float]  # least bleed of each page, in points


class CheckGeometrySettings(Settings):
    tolerance: Length = setting(MM, "A side may differ from the ordered one by this much", unit="length", ge=0)
    tolerance_percent: float = setting(
        0.3, "A side may differ by this part of its length, where that is more than `tolerance`", unit="%", ge=0, le=5
    )
    bleed_tolerance: Length = setting(
        0.2 * MM,
        "Bleed may fall short of the ordered one by this much; 3 mm and 1/8 in (3.175 mm) go for each other in the trade",
        unit="length",
        ge=0,
        le=2 * MM,
    )


class CheckGeometry(Step):
    """Compare page count, trim size, nesting of the boxes and bleed with the ticket.

    It looks at the boxes and changes none. At the art it looks only where they leave too little bleed, to see whether
    any is needed there; whether art fills the bleed they promise is check_bleed's business.
    """

    name = "check_geometry"
    reads = frozenset({Part.BOXES, Part.CONTENT})
    Settings = CheckGeometrySettings
    settings: CheckGeometrySettings

    def run(self, job: Job) -> None:
        found, sizes, bleeds = Gathered(), Sizes(), Bleeds()
        with job.read() as pdf:
            count = len(pdf.pages)
            for number, page in enumerate(pdf.pages, 1):
                for item in self._page(page, number, job, sizes, bleeds):
                    found.add(item, number)
        for item in (*_page_count(count, job.ticket), *self._among_pages(sizes, job.ticket)):
            found.add(item)
        found.report(job, count)
        if sizes and not found.held:
            everywhere = len(bleeds) == len(sizes) > 0
            bleed = f", with {show_length(min(bleeds))} bleed or more on every side" if everywhere else ""
            job.tell(f"{'Every page is' if count > 1 else 'The page is'} cut to {show_size(*sizes[1])}{bleed}.")

    def _page(self, page: Page, number: int, job: Job, sizes: Sizes, bleeds: Bleeds) -> Iterator[Found]:
        ticket = job.ticket
        try:
            boxes = read_boxes(page)
        except ValueError as reason:
            mend = "Check the page's size in the layout and export again."
            yield Found("size_unreadable", f"The size of {{page}} can't be read. {reason}", mend=mend)
            return
        share = self.settings.tolerance_percent / 100
        cut = cut_of(boxes, ticket.trim, ticket.bleed, self.settings.tolerance, share)
        if cut is None:
            assert ticket.trim is not None  # without an order the page's own edge counts
            yield _no_trim_box(boxes, ticket.trim)
            return
        trim, bleed = cut
        sizes[number] = size = boxes.seen_size(trim)
        if ticket.trim and not self._same(size, (ticket.trim.width, ticket.trim.height)):
            yield _wrong_size(size, ticket.trim, "is cut to", trim)
        if "CropBox" in boxes.declared and not trim.within(boxes.crop, SLACK):
            yield _hidden_art(trim)
        if not trim.within(bleed, SLACK) or "TrimBox" in boxes.reduced:
            yield _not_nested(boxes, trim, bleed)
        elif ticket.bleed:
            room = bleed_of(boxes, trim, bleed)
            short = [side for side in SIDES if room[side] < ticket.bleed - self.settings.bleed_tolerance]
            bare = self._bare(job, number, boxes, trim) if short else frozenset()
            bleeds += [] if bare else [min(room.values())]
            yield from _bleed(boxes, room, short, bare, ticket.bleed, trim)

    def _same(self, found: tuple[float, float], ordered: tuple[float, float]) -> bool:
        return size_matches(found, ordered, self.settings.tolerance, self.settings.tolerance_percent / 100)

    def _bare(self, job: Job, page: int, boxes: PageBoxes, trim: Box) -> frozenset[str]:
        """The sides along which the paper stays bare at the cut, so that they need no bleed."""
        try:
            strips = look_along_cut(job.once, job.artwork, page, (boxes, trim), job.ticket.bleed)
        except ValueError:  # what can't be seen is not called bare
            return frozenset()
        slack = self.settings.bleed_tolerance
        return frozenset(side for side, strip in strips.items() if not reaches_cut(strip, slack))

    def _among_pages(self, sizes: Sizes, ticket: Ticket) -> Iterator[Found]:
        if len(sizes) < 2:
            return
        (first, size), *rest = sizes.items()
        others = [page for page, other in rest if not self._same(other, size)]
        if others and ticket.trim is None:
            first_size, other_size = show_size(*size), f"page {others[0]}: {show_size(*sizes[others[0]])}"
            message = f"The pages are not of one size. Page {first}: {first_size}, {other_size}."
            mend = "Export the pages of each size as a file of their own, or put the ordered size on the ticket."
            yield Found("pages_differ", message, measured=other_size, required=first_size, mend=mend)
        elif not others and len({width > height for width, height in sizes.values()}) > 1:
            message = "Some pages are upright and some lie on their side; all have the same size."
            yield Found("pages_turned", message, level=Level.NOTE)


def _bleed(
    boxes: PageBoxes, room: dict[str, float], short: list[str], bare: frozenset[str], ordered: float, trim: Box
) -> Iterator[Found]:
    lacking, spared = ([side for side in short if (side in bare) is is_bare] for is_bare in (False, True))
    if spared:
        message = (
            f"{{page}} has less bleed than ordered {_sides(spared)}, and needs none: the paper is bare along the cut."
        )
        yield Found("bleed_not_needed", message, measured=f"bare paper {_sides(spared)}", level=Level.NOTE)
    if not lacking:
        return
    least, where = max(0.0, min(room[side] for side in lacking)), _sides(lacking)
    if least < SLACK:
        code, message = "no_bleed", f"{{page}} has no bleed {where}: the art ends where the paper is cut."
    else:
        code, message = "little_bleed", f"{{page}} has too little bleed {where}: only {show_length(least)}."
    seen = "" if "BleedBox" in boxes.declared else " Measured to the edge of the page; the file gives no bleed box."
    yield Found(
        code,
        message + seen,
        measured=f"{show_length(least)} {where}",
        required=f"{show_length(ordered)} on every side",
        mend=f"Let backgrounds and pictures run {show_length(ordered)} past the edge on all four sides, and export "
        "again with that bleed.",
        box=trim,
    )


def _sides(sides: list[str]) -> str:
    return "on all four sides" if len(sides) == 4 else f"at the {listed(sides)}"


def _page_count(count: int, ticket: Ticket) -> Iterator[Found]:
    if count != ticket.pages:
        has, ordered = (f"{number} page{'' if number == 1 else 's'}" for number in (count, ticket.pages))
        message = f"The file has {has}, but {ordered} {'was' if ticket.pages == 1 else 'were'} ordered."
        mend = "Export only the pages that belong to this order, or correct the number of pages on the ticket."
        yield Found("wrong_page_count", message, measured=has, required=ordered, mend=mend)


def _wrong_size(found: tuple[float, float], ordered: Size, verb: str, box: Box) -> Found:
    size, aim = show_size(*found), show_size(ordered.width, ordered.height)
    message = f"{{page}} {verb} {size}, but {aim} was ordered. {explain_size(found, ordered)}"
    mend = f"Set the page to {aim} in the layout (bleed comes on top of that, outside) and export again at full size."
    return Found("wrong_size", message, measured=size, required=aim, mend=mend, box=box)


def _no_trim_box(boxes: PageBoxes, ordered: Size) -> Found:
    """The page is neither the ordered size nor that with usual bleed: there may be marks around it, or it is wrong."""
    found = boxes.seen_size(boxes.crop)
    way = best_way(found, ordered)
    if not all(0 < side - aim <= 2 * MOST_EXTRA for side, aim in zip(found, (way.width, way.height), strict=True)):
        return _wrong_size(found, ordered, "is", boxes.crop)
    size, aim = show_size(*found), show_size(ordered.width, ordered.height)
    message = f"{{page}} is {size} and doesn't say where it is cut to the ordered {aim} (it has no trim box)."
    mend = "Export again with the trim box written, or without marks on a page of the ordered size and its bleed."
    return Found("no_trim_box", message, measured=size, required=aim, mend=mend, box=boxes.crop)


def _not_nested(boxes: PageBoxes, trim: Box, bleed: Box) -> Found:
    beyond = {side: -length for side, length in bleed_of(boxes, trim, bleed).items() if length < 0}
    where = f"its bleed at the {listed(list(beyond))}" if beyond else "the page itself"
    message = f"{{page}} is to be cut where there is no art: its trim box reaches beyond {where}."
    mend = "Set the page and its bleed anew in the layout and export again; boxes edited by hand often end like this."
    measured = f"{show_length(max(beyond.values()))} beyond" if beyond else None
    return Found("trim_outside", message, measured, "trim inside bleed inside the page", mend, box=trim)


def _hidden_art(trim: Box) -> Found:
    """Programs show the crop box; a press prints up to the trim and beyond (ISO 32000-1 14.11.2)."""
    message = "{page} shows less on the screen than will be printed: a crop hides art that lies inside the cut."
    mend = "Take the crop off the page, look at what stood behind it, and export again."
    return Found("hidden_art", message, required="the crop box outside the trim box", mend=mend, box=trim)


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckGeometry)
