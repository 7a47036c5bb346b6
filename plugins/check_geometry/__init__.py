"""Checks that the poster has the ordered size, the ordered number of pages, and enough bleed on all four sides."""

from __future__ import annotations

from collections.abc import Iterator

from pikepdf import Pdf

from hotfolder.gathered import Found, Gathered
from hotfolder.pdf.boxes import SLACK, PageBoxes, cut_of, read_boxes, size_matches
from hotfolder.pdf.looking.edges import SIDES, bleed_of, look_along_cut
from hotfolder.pdf.looking.edges_reach import reaches_cut
from hotfolder.pdf.looking.extent import ordered_art
from hotfolder.plugin import (
    MM,
    Box,
    Job,
    Length,
    Level,
    Part,
    Register,
    Settings,
    Step,
    Ticket,
    hookimpl,
    setting,
    show_length,
    show_size,
)

from .art import lost, on_larger_page, reading
from .found import hidden_art, no_trim_box, not_nested, page_count, short_bleed, wrong_size
from .words import scale_to

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
    mirrored: bool = setting(False, "Whether a page may be mirrored, as for the back of glass or film")


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
            for number in range(1, count + 1):
                for item in self._page(pdf, number, job, sizes, bleeds):
                    found.add(item, number)
        for item in (*page_count(count, job.ticket), *self._among_pages(sizes, job.ticket)):
            found.add(item)
        found.report(job, count)
        if sizes and not found.held:
            everywhere = len(bleeds) == len(sizes) > 0
            bleed = f", with {show_length(min(bleeds))} bleed or more on every side" if everywhere else ""
            job.tell(f"{'Every page is' if count > 1 else 'The page is'} cut to {show_size(*sizes[1])}{bleed}.")

    def _page(self, pdf: Pdf, number: int, job: Job, sizes: Sizes, bleeds: Bleeds) -> Iterator[Found]:
        ticket = job.ticket
        try:
            boxes = read_boxes(pdf.pages[number - 1])
        except ValueError as reason:
            mend = "Check the page's size in the layout and export again."
            yield Found("size_unreadable", f"The size of {{page}} can't be read. {reason}", mend=mend)
            return
        share = self.settings.tolerance_percent / 100
        cut = cut_of(boxes, ticket.trim, ticket.bleed, self.settings.tolerance, share)
        art = job.inventory(pdf, number, boxes.user_unit)
        yield from (*reading(art, boxes, self.settings.mirrored), *lost(art, boxes))
        if cut is None:
            assert ticket.trim is not None  # without an order the page's own edge counts
            found = ordered_art(art, boxes, ticket.trim, ticket.bleed)
            yield on_larger_page(boxes, *found) if found else no_trim_box(boxes, ticket)
            return
        trim, bleed = cut
        sizes[number] = size = boxes.seen_size(trim)
        wanted = ticket.bleed
        if ticket.trim and not self._same(size, (ticket.trim.width, ticket.trim.height)):
            wanted /= max(1.0, scale_to(size, ticket.trim) or 1.0)  # at half size half the bleed is right
            yield wrong_size(size, ticket, "is cut to", trim)
        if "CropBox" in boxes.declared and not trim.within(boxes.crop, SLACK):
            yield hidden_art(trim)
        if not trim.within(bleed, SLACK) or "TrimBox" in boxes.reduced:
            yield not_nested(boxes, trim, bleed)
        elif ticket.bleed:
            room = bleed_of(boxes, trim, bleed)
            short = [side for side in SIDES if room[side] < wanted - self.settings.bleed_tolerance]
            bare = self._bare(job, number, boxes, trim) if short else frozenset()
            bleeds += [] if bare else [min(room.values())]
            yield from short_bleed(boxes, room, short, bare, wanted, trim)

    def _same(self, found: tuple[float, float], ordered: tuple[float, float]) -> bool:
        return size_matches(found, ordered, self.settings.tolerance, self.settings.tolerance_percent / 100)

    def _bare(self, job: Job, page: int, boxes: PageBoxes, trim: Box) -> frozenset[str]:
        """The sides along which the paper stays bare at the cut, so that they need no bleed."""
        try:
            strips = look_along_cut(job.once, job.artwork, page, (boxes, trim), job.ticket.bleed)
        except ValueError:  # what can't be seen is not called bare
            return frozenset()
        return frozenset(side for side, strip in strips.items() if not reaches_cut(strip))

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


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckGeometry)
