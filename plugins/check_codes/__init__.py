"""Reads the barcodes and square codes of the artwork, and checks whether they will still scan once they are printed."""

from __future__ import annotations

from collections.abc import Iterator

from hotfolder.gathered import Found
from hotfolder.pdf.boxes import PageBoxes, cut_of, read_boxes
from hotfolder.pdf.looking.code_print import STRIPES, Measured, measure
from hotfolder.pdf.looking.codes import Code, find_codes
from hotfolder.pdf.render import Pages, open_pages
from hotfolder.plugin import (
    MM,
    Box,
    Hold,
    Job,
    Length,
    Level,
    Part,
    Register,
    Settings,
    Step,
    hookimpl,
    setting,
    show_length,
)

from .words import a_code, outlined, quoted

MOST_PAGES = 20  # more are no posters
LITTLE = 0.6  # of the free space that codes in stripes need: with less scanners begin to fail (seen with zxing-cpp)
MOST_SHOWN = 6  # pictures of codes


class CheckCodesSettings(Settings):
    least_module: Length = setting(
        0.25 * MM,
        "Codes whose finest parts (modules) are smaller are held (common practice, no published source)",
        unit="mm",
    )
    good_module: Length = setting(
        0.33 * MM, "Codes whose modules are smaller are noted (0.33 mm is full size of an EAN-13)", unit="mm"
    )
    least_contrast: float = setting(
        40.0,
        "Codes whose light and dark parts differ by less are held (ISO/IEC 15416: 40 is the least of its grade C)",
        unit="percent of reflectance",
        ge=0,
        le=100,
    )
    tell_text: bool = setting(True, "Whether each code is noted with what it says, so that someone can compare it")


class CheckCodes(Step):
    """Read every code as a phone would, tell what it says, and hold those that may not scan in print.

    It changes nothing, follows no address, and doesn't know whether what a code says is right. A code that can't be read
    at all is not found.
    """

    name = "check_codes"
    reads = frozenset({Part.CONTENT, Part.COLOUR, Part.PICTURES, Part.BOXES})
    Settings = CheckCodesSettings
    settings: CheckCodesSettings

    def run(self, job: Job) -> None:
        count = 0
        with job.read() as pdf:
            geometry = {number: boxes for number, page in enumerate(pdf.pages, 1) if (boxes := _boxes(page))}
        with open_pages(job.artwork) as pages:
            for number, boxes in list(geometry.items())[:MOST_PAGES]:
                count += self._page(job, pages, number, boxes, len(geometry))
        if not count:
            job.tell("No barcode or square code was found.")
        elif not job.views and not self.settings.tell_text:
            job.tell(f"{count} {'code' if count == 1 else 'codes'} found; all of them scan.")

    def _page(self, job: Job, pages: Pages, number: int, boxes: PageBoxes, of: int) -> int:
        trim = (cut_of(boxes, job.ticket.trim, job.ticket.bleed) or (boxes.trim, boxes.bleed))[0]
        try:
            codes = find_codes(pages, number, boxes.bleed, boxes.user_unit)
        except ValueError as fault:
            raise Hold(
                "not_drawn",
                f"The codes on page {number} can't be checked: {fault}.",
                page=number,
                mend="Export the artwork again.",
            ) from fault
        inside = [code for code in codes if code.box.common(trim)]
        for code in inside:
            measured = measure(code)
            start = f"On page {number} {a_code(code)}" if of > 1 else a_code(code)[0].upper() + a_code(code)[1:]
            for found in self._judge(code, measured, trim, job.ticket.safe_margin / boxes.user_unit):
                report = job.hold if found.level is Level.HOLD else job.note
                report(
                    found.code,
                    f"{start} {found.message}",
                    measured=found.measured,
                    required=found.required,
                    page=number,
                    box=code.box,
                    mend=found.mend,
                )
                if found.code != "code_read" and len(job.views) < MOST_SHOWN:
                    job.show(
                        found.code, (f"{a_code(code)}, with the free space that it needs", outlined(code, measured))
                    )
        return len(inside)

    def _judge(self, code: Code, measured: Measured, trim: Box, margin: float) -> Iterator[Found]:
        if self.settings.tell_text:
            size = f"modules of {measured.module / MM:.2f} mm"
            yield Found(
                "code_read", f"says {quoted(code.text)}. Compare it with what was ordered.", size, level=Level.NOTE
            )
        yield from self._fineness(measured)
        yield from self._tones(code, measured)
        yield from _space(code, measured, trim, margin)

    def _fineness(self, measured: Measured) -> Iterator[Found]:
        least, good = self.settings.least_module, self.settings.good_module
        size = f"{measured.module / MM:.2f} mm"
        if measured.module < min(least, good) * 0.98:
            message = f"is too small: its modules are only {size} on paper, and ink spreads until they run together."
            yield Found(
                "code_too_small",
                message,
                size,
                f"{least / MM:.2f} mm",
                f"Enlarge it {least / measured.module:.1f} times or more, or let it say less.",
            )
        elif measured.module < good * 0.98:
            message = f"is small: its modules are {size} on paper. Phones may need several tries."
            mend = f"If there is room, enlarge it {good / measured.module:.1f} times."
            yield Found("code_small", message, size, f"{good / MM:.2f} mm", mend, Level.NOTE)

    def _tones(self, code: Code, measured: Measured) -> Iterator[Found]:
        least, needed = self.settings.least_contrast / 100, f"{self.settings.least_contrast:g} %"
        if measured.contrast < least:
            message = "is too pale: its light and dark parts differ too little to be told apart."
            mend = "Print it in black or another dark colour on white."
            yield Found("code_pale", message, f"{measured.contrast:.0%}", needed, mend)
        elif code.kind in STRIPES and measured.red_contrast < least:
            message = (
                "is in colours that a scanner with red light can't tell apart: red, orange and yellow look white to it."
            )
            mend = "Print the bars in black, dark blue or dark green on white, yellow or red."
            yield Found("code_red", message, f"{measured.red_contrast:.0%} in red light", needed, mend)
        if measured.reversed:
            held = code.kind in STRIPES
            message = f"is light on dark. {'Scanners can’t' if held else 'Some readers don’t'} read such codes."
            mend = "Set it dark on a light ground."
            yield Found(
                "code_reversed", message, "light on dark", "dark on light", mend, Level.HOLD if held else Level.NOTE
            )


def _space(code: Code, measured: Measured, trim: Box, margin: float) -> Iterator[Found]:
    """Other things, the cut and the safe margin in the free space around a code."""
    if not measured.zone.within(trim):
        message = "reaches over the cut with itself or the free space around it, and won't scan when the sheet is cut."
        yield Found("code_cut", message, mend="Move it inwards.")
    elif not measured.zone.within(trim.grown(-margin), 0.5):
        message = "stands in the safe margin, with itself or the free space that it needs."
        yield Found("code_in_margin", message, None, show_length(margin), "Move it inwards.", Level.NOTE)
    if measured.quiet < measured.needed:
        share = measured.quiet / measured.needed
        held = code.kind in STRIPES and share < LITTLE
        message = "has something too close to it: on one side there are only about "
        message += f"{measured.quiet:.1f} modules of free space. {'Scanners need it' if held else 'Most phones cope, some readers do not'}."
        mend = (
            f"Keep {measured.needed:g} times the width of its finest part free around it, in the colour of its ground."
        )
        yield Found(
            "code_crowded",
            message,
            f"{measured.quiet:.1f} modules",
            f"{measured.needed:g} modules",
            mend,
            Level.HOLD if held else Level.NOTE,
        )


def _boxes(page: object) -> PageBoxes | None:
    try:
        return read_boxes(page)  # type: ignore[arg-type]
    except ValueError:  # check_geometry tells
        return None


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckCodes)
