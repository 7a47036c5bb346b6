"""Checks that the art really runs on past the cut, all the way through the bleed."""

from __future__ import annotations

from pikepdf import Page

from hotfolder.gathered import Found, Gathered
from hotfolder.pdf.boxes import cut_of, read_boxes
from hotfolder.pdf.looking.edges import Strips, bleed_of, look_along_cut
from hotfolder.pdf.looking.edges_over import ends_over
from hotfolder.pdf.looking.edges_pictures import draw_stretch
from hotfolder.pdf.looking.edges_reach import Stretch, lacking, reaches_cut
from hotfolder.pdf.render import Pages
from hotfolder.plugin import MM, Box, Job, Length, Part, Register, Settings, Step, hookimpl, setting, show_length

from .words import gather, tell

TOLD = ("no_bleed", "little_bleed")  # by check_geometry, of sides whose boxes leave too little room for bleed
MOST_VIEWS = 4
BARE = "The paper stays bare along every cut, so no bleed is needed."


class CheckBleedSettings(Settings):
    tolerance: Length = setting(
        0.2 * MM, "The art may stop this much before the bleed ends", unit="length", ge=0, le=2 * MM
    )


class CheckBleed(Step):
    """Look at the art along the cut: where it reaches the cut, does it reach the end of the ordered bleed, too?

    It changes nothing. Where the paper is bare along the cut no bleed is needed. It does not judge what the art in
    the bleed shows, nor the corners beyond two cuts.
    """

    name = "check_bleed"
    reads = frozenset({Part.BOXES, Part.CONTENT})
    Settings = CheckBleedSettings
    settings: CheckBleedSettings

    def run(self, job: Job) -> None:
        if not job.ticket.bleed:
            job.tell("No bleed was ordered, so none was looked for.")
            return
        found = Gathered()
        with job.read() as pdf:
            try:
                pages = job.pages()
                seen = [self._page(job, pages, found, number, page) for number, page in enumerate(pdf.pages, 1)]
            except ValueError as fault:
                seen = [None]
                _unseen(job, found, 1, fault)
            found.report(job, len(pdf.pages))
        if not found.held and None not in seen:
            ordered = show_length(job.ticket.bleed)
            job.tell(BARE if all(seen) else f"Wherever art reaches the cut, it runs on through {ordered} of bleed.")

    def _page(self, job: Job, pages: Pages, found: Gathered, number: int, page: Page) -> bool | None:
        """Tell where art lacks bleed. Whether the paper is bare along all cuts; None where that can't be seen."""
        try:
            boxes = read_boxes(page)
            cut = cut_of(boxes, job.ticket.trim, job.ticket.bleed)
            if cut is None:
                raise ValueError("it doesn't say where it is cut")
            strips = look_along_cut(job.once, pages, number, (boxes, cut[0]), job.ticket.bleed)
        except ValueError as fault:
            _unseen(job, found, number, fault)
            return None
        groups = gather(self._lacking(job, strips, bleed_of(boxes, *cut)))
        for group in groups:
            found.add(_finding(group, job.ticket.bleed, "BleedBox" in boxes.declared), number)
        self._show(job, pages, number, groups)
        return not any(reaches_cut(strip) for strip in strips.values())

    def _lacking(self, job: Job, strips: Strips, room: dict[str, float]) -> list[Stretch]:
        """Where art lacks bleed, but for the sides of which check_geometry has told that already."""
        ordered, slack = job.ticket.bleed, self.settings.tolerance
        told = any(finding.code in TOLD and finding.step == "check_geometry" for finding in job.findings)
        sides = [strip for side, strip in strips.items() if not (told and room[side] < ordered - slack)]
        return [stretch for strip in sides for stretch in (*lacking(strip, ordered, slack), *ends_over(strip))]

    def _show(self, job: Job, pages: Pages, page: int, groups: list[list[Stretch]]) -> None:
        shown = len(job.views.get((self.name, "bleed_missing"), []))
        for group in groups[: max(0, MOST_VIEWS - shown)]:
            longest = max(group, key=lambda one: one.last - one.first)
            job.show("bleed_missing", draw_stretch(pages, page, longest))


def _finding(group: list[Stretch], ordered: float, promised: bool) -> Found:
    return Found(
        "bleed_missing",
        tell(group, ordered, promised),
        measured=f"{show_length(min(one.reach for one in group))} of art beyond the cut",
        required=show_length(ordered),
        mend=f"Let the backgrounds and pictures that touch the edge run {show_length(ordered)} past it; enlarge a picture "
        "that is too small for that. Then export again with that bleed.",
        box=_around(group),
    )


def _around(group: list[Stretch]) -> Box:
    """The place of all stretches, from the cut to where the bleed should end."""
    boxes = [one.strip.box(one.first, one.last, 0, one.strip.outside) for one in group]
    lefts, bottoms, rights, tops = zip(*boxes, strict=True)
    return Box(min(lefts), min(bottoms), max(rights), max(tops))


def _unseen(job: Job, found: Gathered, page: int, fault: ValueError) -> None:
    """A page that can't be looked at is held, unless the job is held already for what is wrong with it."""
    if job.held:
        job.tell(f"The bleed of page {page} could not be looked at.")
        return
    message = f"The bleed of {{page}} can't be looked at: {str(fault).rstrip('.')}."
    mend = "Export the artwork again, at its ordered size with the bleed around it."
    found.add(Found("bleed_not_seen", message, mend=mend), page)


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckBleed)
