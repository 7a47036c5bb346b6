"""Puts the printer's marks around the poster and clips away whatever lies beyond its bleed."""

from __future__ import annotations

from typing import Literal

import pikepdf
from pydantic import field_validator

from hotfolder.names import check_parts, fill
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.finishing.marks import draw_marks
from hotfolder.pdf.finishing.sheet import Marks, Sheet, lay_out, with_bleed
from hotfolder.pdf.finishing.slug import Line, fit_line
from hotfolder.plugin import (
    MM,
    WORDS,
    Hold,
    Job,
    Length,
    Part,
    Register,
    Settings,
    Step,
    hookimpl,
    setting,
    show_length,
)

from .own import has_own_marks


class AddMarksSettings(Settings):
    cut_marks: bool = setting(True, "Lines at the corners that show where to cut")
    bleed_marks: bool = setting(False, "Shorter lines at the corners that show how far the bleed reaches")
    registration_targets: bool = setting(True, "A cross in a ring on each side, printed in every ink, to align plates")
    colour_bars: bool = setting(True, "Patches of each ink, their overprints and their half tones")
    gray_ramp: bool = setting(True, "Patches of black from 10 to 100 %")
    slug_line: bool = setting(False, "A line of text below the poster that says what it is")
    slug_text: str = setting(
        "{client} - {title} - {trim} - {condition} - {name} - {date} - page {page}",
        "What the slug line says. Parts: a ticket key such as {client}, or {name} (the artwork's own name), {job}, "
        "{route}, {date}, {page}",
        max_length=500,
    )
    offset: Length | None = setting(
        None, "How far from the trim the marks begin, never less than the bleed; left out: the bleed or 3 mm", unit="mm"
    )
    length: Length = setting(5 * MM, "How long the cut marks are", unit="mm", ge=MM, le=50 * MM)
    own_marks: Literal["replace", "keep"] = setting(
        "replace",
        "What becomes of printer's marks that came with the file: they are clipped away and drawn anew, or kept with the "
        "sheet as it is, where every page has cut marks of its own at all four corners of its trim",
    )
    weight: Length = setting(0.25, "How thick the lines are", unit="pt", ge=0.1, le=2)

    @field_validator("slug_text")
    @classmethod
    def _known_parts(cls, template: str) -> str:
        return check_parts(template, (*WORDS, "page"))


class AddMarks(Step):
    """Draw cut marks, registration targets and colour bars outside the bleed on a sheet grown to hold them.

    It moves nothing of the artwork. What lies beyond the bleed box, such as marks drawn by another program, is
    clipped away. It does not draw bleed where there is none, and does not place several posters on a sheet.
    """

    name = "add_marks"
    reads = frozenset({Part.BOXES})
    changes = frozenset({Part.BOXES, Part.CONTENT})
    Settings = AddMarksSettings
    settings: AddMarksSettings

    def run(self, job: Job) -> None:
        wanted = self.settings.model_dump(exclude={"slug_text", "own_marks"})
        marks = Marks(**wanted)
        if not marks.any:
            job.tell("No printer's marks were asked for.")
            return
        if self.settings.own_marks == "keep" and has_own_marks(job):
            job.tell("Every page has cut marks of its own; they were kept, and none were added.")
            return
        sheets: list[Sheet] = []
        with job.edit() as pdf:
            for number, page in enumerate(pdf.pages, start=1):
                try:
                    sheets.append(self._mark(job, pdf, page, number, marks))
                except ValueError as fault:
                    raise Hold(
                        "no_marks",
                        f"The printer's marks could not be put on page {number}. {fault}",
                        page=number,
                        mend="Export the page again; a page near the largest size of a PDF needs a smaller scale, "
                        "such as 1:10, agreed with the printer.",
                    ) from fault
        self._tell(job, marks, sheets)

    def _mark(self, job: Job, pdf: pikepdf.Pdf, page: pikepdf.Page, number: int, marks: Marks) -> Sheet:
        boxes = with_bleed(read_boxes(page), job.ticket.bleed)
        sheet = lay_out(boxes, marks)
        slug = self._slug(job, number, sheet) if marks.slug_line else None
        draw_marks(pdf, page, boxes, sheet, marks, slug)
        return sheet

    def _slug(self, job: Job, number: int, sheet: Sheet) -> Line | None:
        words = job.words() | {"condition": job.condition.title, "page": str(number)}
        return fit_line(fill(self.settings.slug_text, words), sheet.slug[2]) if sheet.slug else None

    def _tell(self, job: Job, marks: Marks, sheets: list[Sheet]) -> None:
        if not sheets:
            return
        job.tell(
            f"Added {_listed(marks)}, starting {show_length(sheets[0].offset)} outside the trim. "
            "Whatever lay beyond the bleed was clipped away."
        )
        if marks.offset is not None and sheets[0].offset > marks.offset:
            job.tell(f"The marks start at the edge of the bleed, not {show_length(marks.offset)} from the trim.")
        for words in dict.fromkeys(words for sheet in sheets for words in sheet.left_out):
            job.note("marks_left_out", f"The poster is too small for the {words}; they were left out.")


def _listed(marks: Marks) -> str:
    names = ("cut_marks", "bleed_marks", "registration_targets", "colour_bars", "gray_ramp", "slug_line")
    words = [name.replace("_", " ") for name in names if getattr(marks, name)]
    return ", ".join(words[:-1]) + " and " + words[-1] if len(words) > 1 else words[0]


@hookimpl
def register_steps(register: Register) -> None:
    register(AddMarks)
