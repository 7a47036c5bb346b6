"""Points out lines that are too thin to print well: hairlines, narrow areas, thin lines in a tint or in white."""

from __future__ import annotations

from hotfolder.pdf.boxes import read_boxes
from hotfolder.plugin import Job, Length, Part, Register, Settings, Step, hookimpl, setting

from .thin import Drawing, Limits, drawings, same_on_pages, thin_lines
from .words import measured, mend, required, sentence


class CheckLinesSettings(Settings):
    least_width: Length = setting(
        0.25,
        "Lines thinner than this on paper are noted; 0pt notes none (0.25pt: common practice, no published source)",
        unit="length",
    )
    least_light: Length = setting(
        0.5,
        "Lines in a light tint, and white ones on a dark ground, that are thinner than this are noted; 0pt notes none "
        "(0.5pt: common practice, no published source)",
        unit="length",
    )
    tint_below: float = setting(
        50.0, "A line whose strongest ink is weaker than this counts as a light tint", unit="%", ge=0, le=100
    )
    most_findings: int = setting(20, "How many places to tell of one by one; the rest are counted", ge=1, le=1000)


class CheckLines(Step):
    """Note lines that come out thinner than can be printed well, after all scaling.

    It changes nothing. Lines that are clipped away, invisible or outside the trim don't count; lines of one drawing
    are told as one.
    """

    name = "check_lines"
    reads = frozenset({Part.CONTENT})
    Settings = CheckLinesSettings
    settings: CheckLinesSettings

    def run(self, job: Job) -> None:
        limits = Limits(self.settings.least_width, self.settings.least_light, self.settings.tint_below / 100)
        found = list[Drawing]()
        with job.read() as pdf:
            count = len(pdf.pages)
            for number, page in enumerate(pdf.pages, 1):
                boxes = read_boxes(page)
                unit = boxes.user_unit
                objects = job.inventory(pdf, number, unit).objects
                found += drawings(number, thin_lines(objects, unit, boxes.trim, limits), boxes.trim)
        places = list(same_on_pages(found).items())
        for one, pages in places[: self.settings.most_findings]:
            job.note(
                one.why.value,
                sentence(one, pages, count),
                measured=measured(one),
                required=required(one, limits),
                page=pages[0],
                box=one.box,
                mend=mend(one, limits),
            )
        if rest := places[self.settings.most_findings :]:
            lines = sum(one.count * len(pages) for one, pages in rest)
            first, pages = rest[0]
            message = f"{lines} more thin lines in other places, {len(rest)} in all."
            job.note("more_lines", message, page=pages[0], box=first.box)
        if not found:
            job.tell(f"No line is thinner than {limits.plain:g} pt on paper.")


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckLines)
