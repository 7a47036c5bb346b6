"""Lays several copies of each poster out on one press sheet, with a cut mark at every cut."""

from __future__ import annotations

import math
from dataclasses import replace

import pikepdf
from pydantic import model_validator

from hotfolder.finding import Box
from hotfolder.moved import LaidSheet, Placed
from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.finishing.imposed import MOST, Grid, grid_marks, most_that_fit, plan_grid
from hotfolder.pdf.finishing.new_sheet import art_form, make_sheet, quarter_turn, seen_bleeds, shifted, upright, views
from hotfolder.pdf.finishing.sheet import Marks, Sheet, lay_out, with_bleed
from hotfolder.plugin import (
    MM,
    Hold,
    Job,
    Length,
    Part,
    Register,
    Settings,
    SheetSize,
    Step,
    hookimpl,
    setting,
    show_length,
    show_size,
)  # fmt: skip


class LayOutSettings(Settings):
    columns: int = setting(0, "How many copies beside each other; 0: as many as fit on the sheet", ge=0, le=100)
    rows: int = setting(0, "How many copies above each other; 0: as many as fit on the sheet", ge=0, le=100)
    sheet: SheetSize | None = setting(
        None, "The press sheet, such as 700x1000mm; left out: as large as copies and marks need"
    )
    gap: Length = setting(6 * MM, "Between copies; the bleed of both shares it", unit="mm", ge=0, le=500 * MM)
    cut_marks: bool = setting(True, "Lines around the copies that show every cut")
    registration_targets: bool = setting(True, "A cross in a ring on each side, printed in every ink, to align plates")
    length: Length = setting(5 * MM, "How long the cut marks are", unit="mm", ge=MM, le=50 * MM)
    weight: Length = setting(0.25, "How thick the lines are", unit="pt", ge=0.1, le=2)

    @model_validator(mode="after")
    def _counted(self) -> LayOutSettings:
        if (self.columns == 0 or self.rows == 0) and (self.columns or self.rows) and self.sheet is None:
            raise ValueError("without a `sheet`, both `columns` and `rows` must be given")
        return self


class LayOut(Step):
    """Place each page several times on a new press sheet, every copy with its bleed as far as the gap leaves room.

    It scales nothing, mixes no pages on a sheet, and draws no bleed where there is none. The art is in the file once.
    """

    name = "lay_out"
    reads = frozenset({Part.BOXES})
    changes = frozenset({Part.BOXES, Part.CONTENT})
    Settings = LayOutSettings
    settings: LayOutSettings

    def run(self, job: Job) -> None:
        if self.settings.sheet is None and self.settings.columns * self.settings.rows <= 1:
            job.tell("Nothing to lay out: one copy on a sheet of its own.")
            return
        sheets: list[LaidSheet] = []
        before = views(job.artwork, [("Before", 1)])
        with job.edit() as pdf:
            pages = list(pdf.pages)
            for number, page in enumerate(pages, start=1):
                try:
                    sheets.append(self._lay_out(job, pdf, page, number))
                except ValueError as fault:
                    raise Hold(
                        "not_laid_out",
                        f"Page {number} could not be laid out on a press sheet. {fault}",
                        page=number,
                        mend="Export the page again, or ask for another press sheet.",
                    ) from fault
            del pdf.pages[: len(pages)]
        job.lay_out(sheets)
        job.show("laid_out", *before, *views(job.artwork, [("After", 1)]))

    def _lay_out(self, job: Job, pdf: pikepdf.Pdf, page: pikepdf.Page, number: int) -> LaidSheet:
        boxes = with_bleed(read_boxes(page), job.ticket.bleed)
        marks = Marks(
            cut_marks=self.settings.cut_marks,
            registration_targets=self.settings.registration_targets,
            colour_bars=False,
            gray_ramp=False,
            length=self.settings.length,
            weight=self.settings.weight,
        )
        grid = self._grid(boxes, marks)
        around = lay_out(_plain(grid.trim, grid.bleed), marks)
        sheet = self._on_press_sheet(grid_marks(around, grid, marks))
        way = quarter_turn(upright(boxes)) if grid.turned else upright(boxes)
        placed = [Placed(number, shifted(way, *copy.corner), copy.shown) for copy in grid.copies]
        laid = make_sheet(pdf, page, art_form(pdf, page, boxes), placed, grid.trim, grid.bleed, sheet, marks)
        self._tell(job, grid, sheet, number)
        return laid

    def _grid(self, boxes: PageBoxes, marks: Marks) -> Grid:
        size, bleeds, gap = boxes.seen_size(boxes.trim), seen_bleeds(boxes), self.settings.gap
        columns, rows, turn = self.settings.columns, self.settings.rows, False
        if self.settings.sheet is not None:
            edge = lay_out(_plain(Box(0, 0, *size), Box(0, 0, *size).grown(max(bleeds))), marks).edge
            room = self.settings.sheet.width - 2 * -edge.left, self.settings.sheet.height - 2 * -edge.bottom
            fit = most_that_fit(size, room, gap)
            if columns or rows:  # the given number, lying as it was exported unless only turned it fits
                straight = most_that_fit(size, room, gap, turn=False)
                fit = straight if straight[0] >= (columns or 1) and straight[1] >= (rows or 1) else fit
            if fit[0] < max(columns, 1) or fit[1] < max(rows, 1):
                wanted = f"{max(columns, 1)} × {max(rows, 1)} copies" if columns or rows else "not one copy"
                raise ValueError(
                    f"On a sheet of {show_size(self.settings.sheet.width, self.settings.sheet.height)} there is no room "
                    f"for {wanted.removeprefix('not ')} of {show_size(*size)} with marks."
                )
            columns, rows, turn = columns or fit[0], rows or fit[1], fit[2]
        if columns * rows > MOST:
            raise ValueError(f"It would take {columns * rows} copies.")
        return plan_grid(size, bleeds, columns, rows, gap, turn=turn)

    def _on_press_sheet(self, sheet: Sheet) -> Sheet:
        """With the press sheet's own edges, the copies in its middle."""
        if self.settings.sheet is None:
            return sheet
        right, up = self.settings.sheet.width - sheet.width, self.settings.sheet.height - sheet.height
        return replace(sheet, edge=Box(-right / 2, -up / 2, sheet.width + right / 2, sheet.height + up / 2))

    def _tell(self, job: Job, grid: Grid, sheet: Sheet, page: int) -> None:
        count, lies = len(grid.copies), ", turned by 90 degrees" if grid.turned else ""
        size = show_size(sheet.edge.width, sheet.edge.height)
        job.mended(
            "laid_out",
            f"{count} {'copy' if count == 1 else 'copies'} of page {page}{lies} were laid out on one press sheet of {size}, "
            f"{grid.columns} beside and {grid.rows} above each other, {show_length(self.settings.gap)} apart.",
            page=page,
        )
        if job.ticket.copies is not None:
            sheets = math.ceil(job.ticket.copies / count)
            job.tell(
                f"For the {job.ticket.copies} copies ordered, {sheets} {'sheet is' if sheets == 1 else 'sheets are'} to print."
            )
        for words in sheet.left_out:
            job.note("marks_left_out", f"The copies are too small for the {words}; they were left out.")


def _plain(trim: Box, bleed: Box) -> PageBoxes:
    return PageBoxes(bleed, bleed, bleed, trim, trim, frozenset({"MediaBox", "BleedBox", "TrimBox"}))


@hookimpl
def register_steps(register: Register) -> None:
    register(LayOut)
