"""Checks that the art really runs on past the cut, all the way through the bleed."""

from __future__ import annotations

from hotfolder.pdf.boxes import PageBoxes, cut_of, read_boxes
from hotfolder.pdf.looking.edges import bleed_of, look_along_cut
from hotfolder.pdf.looking.edges_pictures import draw_stretch
from hotfolder.pdf.looking.edges_reach import Stretch, lacking, reaches_cut
from hotfolder.pdf.render import open_pages
from hotfolder.plugin import MM, Box, Job, Length, Part, Register, Settings, Step, hookimpl, setting, show_length

from .words import gather, tell

TOLD = ("no_bleed", "little_bleed")  # by check_geometry, of sides whose boxes leave too little room for bleed
MOST_FINDINGS, MOST_VIEWS = 12, 4


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
        bare: list[bool] = []
        held = False
        with job.read() as pdf:
            count = len(pdf.pages)
            for number, page in enumerate(pdf.pages, 1):
                try:
                    boxes = read_boxes(page)
                    cut = cut_of(boxes, job.ticket.trim, job.ticket.bleed)
                    if cut is None:
                        raise ValueError("it doesn't say where it is cut")
                    stretches, is_bare = self._page(job, number, boxes, *cut)
                except ValueError as fault:
                    held |= _unseen(job, number, count, fault)
                    continue
                bare.append(is_bare)
                held |= self._tell(job, number, count, boxes, stretches)
        if bare and not held:
            job.tell(_all_well(bare, job.ticket.bleed))

    def _page(self, job: Job, page: int, boxes: PageBoxes, trim: Box, bleed: Box) -> tuple[list[Stretch], bool]:
        """Where art lacks bleed, but for what was told already; and whether the paper is bare along all cuts."""
        ordered, slack = job.ticket.bleed, self.settings.tolerance
        strips = look_along_cut(job.once, job.artwork, page, (boxes, trim), ordered)
        told = any(finding.code in TOLD and finding.step == "check_geometry" for finding in job.findings)
        room = bleed_of(boxes, trim, bleed)
        sides = [strip for side, strip in strips.items() if not (told and room[side] < ordered - slack)]
        found = [stretch for strip in sides for stretch in lacking(strip, ordered, slack)]
        return found, not any(reaches_cut(strip, slack) for strip in strips.values())

    def _tell(self, job: Job, page: int, count: int, boxes: PageBoxes, found: list[Stretch]) -> bool:
        promised = "BleedBox" in boxes.declared
        groups = gather(found)
        for group in groups[:MOST_FINDINGS]:
            least = min(stretch.reach for stretch in group)
            job.hold(
                "bleed_missing",
                tell(group, page if count > 1 else None, job.ticket.bleed, promised),
                measured=f"{show_length(least)} of art beyond the cut",
                required=show_length(job.ticket.bleed),
                page=page,
                box=_around(group),
                mend=f"Let the backgrounds and pictures that touch the edge run {show_length(job.ticket.bleed)} past it; "
                "enlarge a picture that is too small for that. Then export again with that bleed.",
            )
        if groups:
            with open_pages(job.artwork) as pages:
                for group in groups[: MOST_VIEWS - len(job.views.get((self.name, "bleed_missing"), []))]:
                    job.show(
                        "bleed_missing", draw_stretch(pages, page, max(group, key=lambda one: one.last - one.first))
                    )
        return bool(groups)


def _around(group: list[Stretch]) -> Box:
    """The place of all stretches, from the cut to where the bleed should end."""
    boxes = [one.strip.box(one.first, one.last, 0, one.strip.outside) for one in group]
    lefts, bottoms, rights, tops = zip(*boxes, strict=True)
    return Box(min(lefts), min(bottoms), max(rights), max(tops))


def _unseen(job: Job, page: int, count: int, fault: ValueError) -> bool:
    """A page that can't be looked at is held, unless it is held already for what is wrong with it."""
    name = f"page {page}" if count > 1 else "the page"
    if job.held:
        job.tell(f"The bleed of {name} could not be looked at.")
    else:
        job.hold(
            "bleed_not_seen",
            f"The bleed of {name} can't be looked at: {str(fault).rstrip('.')}.",
            page=page,
            mend="Export the artwork again, at its ordered size with the bleed around it.",
        )
    return True


def _all_well(bare: list[bool], ordered: float) -> str:
    if all(bare):
        return "The paper stays bare along every cut, so no bleed is needed."
    return f"Wherever art reaches the cut, it runs on through the bleed of {show_length(ordered)}."


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckBleed)
