"""Reads the barcodes and square codes of the artwork, and checks whether they will still scan once they are printed."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from hotfolder.gathered import Found
from hotfolder.pdf.boxes import PageBoxes, cut_of, read_boxes
from hotfolder.pdf.looking.code_print import Measured, measure
from hotfolder.pdf.looking.codes import Code, find_codes
from hotfolder.pdf.plates import make_plates
from hotfolder.pdf.plates.proof import proof_picture
from hotfolder.pdf.render import Pages
from hotfolder.plugin import MM, Box, Hold, Job, Length, Level, Part, Register, Settings, Step, hookimpl, setting

from .judging import Limits, judge, unread
from .words import a_code, outlined, quoted

MOST_PAGES = 20  # more are no posters
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
        with job.read() as pdf:
            geometry = {number: boxes for number, page in enumerate(pdf.pages, 1) if (boxes := _boxes(page))}
        sound = faulty = 0
        pages, shapes = job.pages(), job.pages(colours=False)
        for number, boxes in list(geometry.items())[:MOST_PAGES]:
            trim = (cut_of(boxes, job.ticket.trim, job.ticket.bleed) or (boxes.trim, boxes.bleed))[0]
            for code in self._codes(pages, shapes, number, boxes, trim):
                start = a_code(code) if len(geometry) == 1 else f"on page {number} {a_code(code)}"
                measured, found = self._judged(job, code, boxes, trim)
                _report(job, code, start[0].upper() + start[1:], found)
                _show(job, code, measured, found)
                wrong = any(one.code != "code_read" for one in found)
                sound, faulty = sound + (not wrong), faulty + wrong
        if not sound and not faulty:
            job.tell("No barcode or square code was found.")
        elif not faulty:
            job.tell(
                f"{'The code that was found scans' if sound == 1 else f'All {sound} codes that were found scan'} well."
            )

    def _codes(self, pages: Pages, shapes: Pages, number: int, boxes: PageBoxes, trim: Box) -> list[Code]:
        """Those that stand on the trimmed sheet, if only in part."""
        try:
            codes = find_codes(pages, number, boxes.bleed, boxes.user_unit, shapes)
        except ValueError as fault:
            raise Hold(
                "not_drawn",
                f"The codes on page {number} can't be checked: {fault}.",
                page=number,
                mend="Export the artwork again.",
            ) from fault
        return [code for code in codes if code.box.common(trim)]

    def _judged(self, job: Job, code: Code, boxes: PageBoxes, trim: Box) -> tuple[Measured | None, list[Found]]:
        if not code.reads:
            return None, [unread(code)]
        least, good = self.settings.least_module, self.settings.good_module
        limits = Limits(least, good, self.settings.least_contrast / 100, trim, job.ticket.safe_margin / boxes.user_unit)
        measured = measure(code, _printed(job, code))
        found = list(judge(code, measured, limits))
        if self.settings.tell_text:
            message = f"says {quoted(code.text)}. Compare it with what was ordered."
            found.insert(
                0, Found("code_read", message, f"finest parts of {measured.module / MM:.2f} mm", level=Level.NOTE)
            )
        return measured, found


def _printed(job: Job, code: Code) -> NDArray[np.uint8] | None:
    """The code as its plates print it, overprinting included; None where there are no plates."""
    try:
        plates = make_plates(job.artwork, code.page, code.drawn.ppi, job.condition, code.drawn.area)
    except ValueError:  # check_ink tells
        return None
    return np.asarray(proof_picture(plates, job.condition).convert("RGB"))


def _report(job: Job, code: Code, start: str, found: Sequence[Found]) -> None:
    for one in found:
        (job.hold if one.level is Level.HOLD else job.note)(
            one.code,
            f"{start} {one.message}",
            measured=one.measured,
            required=one.required,
            page=code.page,
            box=code.box,
            mend=one.mend,
        )


def _show(job: Job, code: Code, measured: Measured | None, found: Sequence[Found]) -> None:
    """The code beside the first thing that is wrong with it, where not too many are shown already."""
    wrong = [one.code for one in found if one.code != "code_read"]
    if wrong and sum(step == job.step for step, _ in job.views) < MOST_SHOWN:
        words = "The code in blue, the free space that it needs in orange" if measured else "What can't be read"
        job.show(wrong[0], (words, outlined(code, measured)))


def _boxes(page: object) -> PageBoxes | None:
    try:
        return read_boxes(page)  # type: ignore[arg-type]
    except ValueError:  # check_geometry tells
        return None


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckCodes)
