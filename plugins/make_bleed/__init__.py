"""Makes bleed where it is missing, out of the art along the poster's edge, and shows the edge before and after."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pikepdf import Page
from PIL import Image

from hotfolder.gathered import Gathered
from hotfolder.pdf.boxes import SLACK, PageBoxes, cut_of, read_boxes
from hotfolder.pdf.looking.edges import Strips, look_along_cut
from hotfolder.pdf.looking.edges_reach import lacking
from hotfolder.pdf.mending.make_bleed import make_bleed
from hotfolder.pdf.mending.make_bleed_look import Seen, look, seen_reach
from hotfolder.pdf.mending.make_bleed_plan import Method, Plan, declared_reach, plan_page
from hotfolder.pdf.mending.make_bleed_views import draw_place, places
from hotfolder.pdf.render import open_pages
from hotfolder.plugin import MM, Job, Length, Part, Register, Settings, Step, hookimpl, setting, show_length

from . import words


class MakeBleedSettings(Settings):
    method: Method = setting(
        Method.MIRROR,
        "`mirror` folds the art outwards at its edge; `stretch` lays all of the art under itself, a little larger; "
        "`extend` draws the outermost line of the art outwards",
    )
    ask: bool = setting(False, "Hold the poster when bleed was made, so that a person looks at the seam")
    most: Length = setting(10 * MM, "More bleed than this is not made", unit="length", gt=0, le=50 * MM)
    look: bool = setting(True, "Make it also where the file promises bleed, but its art stops before the bleed ends")
    tolerance: Length = setting(
        0.2 * MM,
        "Bleed that falls short of the ordered one by no more than this stays as it is",
        unit="length",
        ge=0,
        le=2 * MM,
    )


@dataclass(frozen=True)
class Work:
    """One page: what it lacked by all that is known, and what looking at it came to."""

    lacked: Plan
    seen: Seen

    @property
    def possible(self) -> bool:
        return bool(self.seen.plan.lacking or self.seen.hidden)


class MakeBleed(Step):
    """Continue the art beyond the trim, as far as bleed is ordered, on the sides where the page has none.

    It moves, scales and covers nothing that is there: what it makes lies around the art. It does not invent: a mirrored
    word is a mirrored word, and whether the seam shows is for a person to see. It leaves edges white that are white,
    and does not continue comments and form fields.
    """

    name = "make_bleed"
    reads = frozenset({Part.BOXES, Part.CONTENT})
    changes = frozenset({Part.BOXES, Part.CONTENT})
    mends = True
    Settings = MakeBleedSettings
    settings: MakeBleedSettings

    def run(self, job: Job) -> None:
        if not job.ticket.bleed:
            job.tell("No bleed was ordered, so none was made.")
            return
        found = Gathered()
        with job.read() as pdf:
            count = len(pdf.pages)
            works = [work for number, page in enumerate(pdf.pages, 1) if (work := self._page(job, page, number, found))]
        if works:
            before = _draw(job, works[0])
            done = self._make(job, works, found)
            if done and done[0] is works[0]:
                self._show(job, done[0], before)
            self._look_again(job, done, found)
        found.report(job, count)
        if not found:
            job.tell(f"The bleed of {show_length(job.ticket.bleed)} is there; none had to be made.")

    def _page(self, job: Job, page: Page, number: int, found: Gathered) -> Work | None:
        """What is to be done on a page; None, said why, where nothing is."""
        try:
            boxes = _cut(read_boxes(page), job)
            plan, strips = self._plan(job, boxes, number)
            if plan is None:
                return None
            with open_pages(job.artwork) as pages:
                work = Work(plan, look(pages, plan, strips, job.ticket.bleed, self.settings.tolerance))
        except ValueError as fault:
            found.add(words.not_made(str(fault)), number)
            return None
        if not work.possible:
            found.add(words.no_art(plan, job.ticket.bleed), number)
        return work if work.possible else None

    def _plan(self, job: Job, boxes: PageBoxes, number: int) -> tuple[Plan | None, Strips]:
        bleed, tolerance = job.ticket.bleed, self.settings.tolerance
        art = declared_reach(boxes)
        plan, strips = plan_page(number, boxes, art, bleed, tolerance), Strips()
        if plan is not None or self.settings.look:
            strips = look_along_cut(job.once, job.artwork, number, (boxes, boxes.trim), bleed)
            art = seen_reach(boxes, art, strips, bleed, tolerance)
            plan = plan_page(number, boxes, art, bleed, tolerance)
        if plan is not None and bleed > self.settings.most + SLACK:
            raise ValueError(
                f"{show_length(bleed)} are ordered; no more than {show_length(self.settings.most)} is made."
            )
        return plan, strips

    def _make(self, job: Job, works: list[Work], found: Gathered) -> list[Work]:
        """Make the bleed of all pages where it is possible; those that it was made on."""
        done = []
        with job.edit() as pdf:
            for work in works:
                page, plan = pdf.pages[work.lacked.number - 1], work.seen.plan
                try:
                    make_bleed(pdf, page, plan, self.settings.method, work.seen.over)
                except ValueError as fault:
                    found.add(words.not_made(str(fault)), plan.number)
                    continue
                self._tell(job, work, bool(page.obj.get("/Annots")), found)
                done.append(work)
            if not done:
                job.unchanged()
        return done

    def _tell(self, job: Job, work: Work, annotated: bool, found: Gathered) -> None:
        bleed, number = job.ticket.bleed, work.lacked.number
        if work.seen.hidden:
            found.add(words.uncovered(work.lacked, work.seen, bleed), number)
        if work.seen.plan.lacking:
            found.add(words.made(work.seen, self.settings.method, bleed, self.settings.ask, annotated), number)
            job.draw_around(number, work.seen.plan.art)

    def _show(self, job: Job, work: Work, before: list[Image.Image]) -> None:
        after = _draw(job, work)
        code = "bleed_uncovered" if not work.seen.plan.lacking else words.code(self.settings.ask)
        for place, was, came in zip(places(work.seen, work.lacked), before, after, strict=True):
            job.show(code, (f"Before, {place.words}", was), (f"After, {place.words}", came))

    def _look_again(self, job: Job, done: list[Work], found: Gathered) -> None:
        """Say where bleed is missing still. What comes next looks at the same strips."""
        for work in done:
            number, boxes = work.lacked.number, work.lacked.boxes
            strips = look_along_cut(job.once, job.artwork, number, (boxes, boxes.trim), job.ticket.bleed)
            if any(lacking(strip, job.ticket.bleed, self.settings.tolerance) for strip in strips.values()):
                found.add(words.still_missing(work.lacked, job.ticket.bleed), number)


def _cut(boxes: PageBoxes, job: Job) -> PageBoxes:
    """The boxes with trim and bleed as the order lets them be understood."""
    cut = cut_of(boxes, job.ticket.trim, job.ticket.bleed)
    if cut is None or not (cut[0].within(boxes.trim, SLACK) and boxes.trim.within(cut[0], SLACK)):
        raise ValueError("It doesn't say where it is cut.")
    return replace(boxes, bleed=cut[1])


def _draw(job: Job, work: Work) -> list[Image.Image]:
    """The places of a page that are worth looking at, as it is now."""
    with open_pages(job.artwork) as pages:
        return [draw_place(pages, work.lacked, place) for place in places(work.seen, work.lacked)]


@hookimpl
def register_steps(register: Register) -> None:
    register(MakeBleed)
