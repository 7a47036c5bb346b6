"""Points out how the pages are built where that may go wrong: printer's marks of their own, transparency."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pikepdf import Pdf

from hotfolder.gathered import Found, Gathered, listed
from hotfolder.pdf.boxes import PageBoxes, cut_of, read_boxes
from hotfolder.pdf.looking.inventory import Inventory
from hotfolder.pdf.looking.own_marks import OwnMarks, find_own_marks
from hotfolder.pdf.looking.transparency import find_transparency
from hotfolder.plugin import MM, Box, Job, Level, Part, Register, Settings, Step, hookimpl, setting, show_size

_SAME = MM  # the cut marks' sheet and the trim are the same within this
_IN_BLEED = 0.5 * MM  # marks may reach so far into the bleed


class CheckConstructionSettings(Settings):
    transparency: Literal["allowed", "note", "hold"] = setting(
        "allowed",
        "What transparency means: nothing, a note, or hold, for printers who ask for PDF/X-1a or PDF/X-3 (ISO 15930-4, -6)",
    )


class CheckConstruction(Step):
    """Look how the pages are built: printer's marks that came with the file, and transparency.

    It changes nothing. It sees what is drawn, not what it is meant as: lines that stand like cut marks count as such.
    """

    name = "check_construction"
    reads = frozenset({Part.CONTENT, Part.BOXES})
    Settings = CheckConstructionSettings
    settings: CheckConstructionSettings

    def run(self, job: Job) -> None:
        found = Gathered()
        with job.read() as pdf:
            count = len(pdf.pages)
            for number, page in enumerate(pdf.pages, 1):
                try:
                    boxes = read_boxes(page)
                except ValueError:  # check_geometry tells
                    continue
                for item in self._page(job, pdf, number, boxes):
                    found.add(item, number)
        found.report(job, count)
        if not found.held:
            forbidden = self.settings.transparency == "hold"
            job.tell(
                f"No misplaced cut marks{' and no transparency' if forbidden else ''} in the way the pages are built."
            )

    def _page(self, job: Job, pdf: Pdf, number: int, boxes: PageBoxes) -> Iterator[Found]:
        unit = boxes.user_unit
        inventory = job.inventory(pdf, number, unit)
        cut = cut_of(boxes, job.ticket.trim, job.ticket.bleed)
        marks = find_own_marks(inventory, boxes.media, cut[0] if cut else boxes.trim, unit)
        yield from _marks(marks, cut, boxes, job.ticket.bleed / unit)
        if self.settings.transparency != "allowed":
            yield from self._transparency(pdf, number, inventory)

    def _transparency(self, pdf: Pdf, number: int, inventory: Inventory) -> Iterator[Found]:
        seen = find_transparency(pdf, number, inventory)
        kinds = (
            listed(list(seen.kinds))
            if seen.kinds
            else "groups made for transparency, although nothing in them is see-through"
        )
        if seen.kinds or seen.groups:
            yield Found(
                "transparency",
                f"{{page}} has {kinds}; the printer asked for artwork without transparency.",
                measured=", ".join(seen.kinds) or "transparency groups",
                required="no transparency",
                mend="Flatten the transparency when you export (a form of PDF/X-1a or PDF/X-3 does so), and look at the result.",
                level=Level(self.settings.transparency),
                box=next(iter(seen.kinds.values()), None),
            )


def _marks(marks: OwnMarks, cut: tuple[Box, Box] | None, boxes: PageBoxes, ordered: float) -> Iterator[Found]:
    if not marks.any:
        return
    sheet, unit = marks.sheet, boxes.user_unit
    kinds = [
        words
        for words, there in (("cut marks", sheet), ("registration targets", marks.targets), ("colour bars", marks.bars))
        if there
    ]
    shown = cut[0] if cut and sheet and _same(sheet, cut[0], unit) else sheet  # as exact as can be said
    size = f"they cut a sheet of {show_size(*boxes.seen_size(shown))}" if shown else None
    yield Found("own_marks", f"{{page}} has printer's marks of its own: {listed(kinds)}.", size, level=Level.NOTE)
    if sheet is None or cut is None:
        return
    trim, bleed = cut
    if not _same(sheet, trim, unit) and not _same(sheet, bleed, unit):
        yield Found(
            "marks_elsewhere",
            f"The cut marks on {{page}} cut a sheet of {show_size(*boxes.seen_size(sheet))}, but the file is cut to "
            f"{show_size(*boxes.seen_size(trim))}. {'They would be printed on the poster.' if _inside(marks, trim) else ''}".strip(),
            measured=show_size(*boxes.seen_size(sheet)),
            required=show_size(*boxes.seen_size(trim)),
            mend="Export again so that the page is cut where its marks stand (the trim box says so), or without marks.",
            box=sheet,
        )
    elif any(
        box.common(trim.grown(ordered - _IN_BLEED / unit))
        for box in marks.cuts
        if min(box.width, box.height) * unit < 2
    ):
        yield Found(
            "marks_in_bleed",
            "The cut marks on {page} reach into the bleed, so that bits of them may show along the cut.",
            mend="Export again with the marks as far from the trim as the bleed is wide.",
            level=Level.NOTE,
            box=sheet,
        )


def _same(one: Box, other: Box, unit: float) -> bool:
    return all(abs(a - b) * unit <= _SAME for a, b in zip(one, other, strict=True))


def _inside(marks: OwnMarks, trim: Box) -> bool:
    return any(box.common(trim) for box in marks.cuts)


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckConstruction)
