"""Checks that text, logos and other things that must be seen whole stand far enough inside the cut."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from pikepdf import Pdf

from hotfolder.pdf.boxes import cut_of, read_boxes
from hotfolder.pdf.looking.inventory import Inventory, Kind
from hotfolder.plugin import INCH, MM, Job, Length, Part, Register, Settings, Step, hookimpl, setting, show_length

from .art import goes_with, near_art
from .drawn import Drawn
from .edges import Edges, Thing
from .lines import in_line
from .phrases import alike, phrases
from .telling import How, Place, tell

LOOKED_AT = 100.0  # pixels per inch at which the page is drawn, to see what really shows near the cut
BEYOND = INCH / 8  # points around the trim that are drawn too


class CheckMarginSettings(Settings):
    tolerance: Length = setting(
        MM, "Things may stand this much nearer to the trim: it can't be seen", unit="length", ge=0
    )
    small_art: How = setting("hold", "What becomes of small pictures and drawings (logos, codes) inside the margin")
    other_art: How = setting("note", "What becomes of frames, lines, shapes and larger pictures inside the margin")
    small: float = setting(10.0, "A picture or drawing up to this part of the sheet is small", unit="%", ge=0, le=100)
    huge_letters: float = setting(
        15.0,
        "Letters of this part of the sheet's shorter side that run past the trim are art; they are noted",
        unit="%",
        gt=0,
        le=1000,
    )
    most_findings: int = setting(20, "How many places to tell of one by one; the rest are counted", ge=1, le=1000)


class CheckMargin(Step):
    """Measure how far each object stands from the trim, and compare it with the ticket's safe margin.

    It changes nothing. It can't know which parts of a picture matter, so pictures that run off the sheet are not judged.
    """

    name = "check_margin"
    reads = frozenset({Part.BOXES, Part.CONTENT})
    Settings = CheckMarginSettings
    settings: CheckMarginSettings

    def run(self, job: Job) -> None:
        if job.ticket.safe_margin <= 0:
            job.tell("No safe margin was ordered.")
            return
        places, pictures = list[Place](), False
        with job.read() as pdf:
            count = len(pdf.pages)
            for number in range(1, count + 1):
                edges = self._edges(job, pdf, number)
                if edges is None:
                    continue  # the check of the size tells
                inventory = job.inventory(pdf, number, edges.unit)
                if inventory.left_out:
                    _tell_left_out(job, number, inventory)
                pictures |= any(each.kind is Kind.PICTURE and each.seen for each in inventory.objects)
                places += [Place(number, edges, thing) for thing in self._page(job, number, inventory, edges)]
        if not tell(job, places, self._level, self.settings.most_findings, count):
            job.tell(f"Text, logos and codes stand {show_length(job.ticket.safe_margin)} or more inside the trim.")
        if pictures:
            job.tell(
                "Which parts of a picture matter, such as faces and words in it, can't be known. Look at its edges."
            )

    def _edges(self, job: Job, pdf: Pdf, number: int) -> Edges | None:
        try:
            boxes = read_boxes(pdf.pages[number - 1])
        except ValueError:
            return None
        cut = cut_of(boxes, job.ticket.trim, job.ticket.bleed)
        if cut is None:
            return None
        trim, unit = cut[0], boxes.user_unit
        # On a sheet that is hardly larger than its margins, a third of it on each side.
        margin = min(job.ticket.safe_margin, trim.width * unit / 3, trim.height * unit / 3)
        return Edges(trim, unit, boxes.rotate, margin, min(self.settings.tolerance, margin / 2))

    def _page(self, job: Job, number: int, inventory: Inventory, edges: Edges) -> list[Thing]:
        """Everything on a page that shows inside the margin."""
        texts = [
            each
            for each in inventory.objects
            if each.kind is Kind.TEXT and each.seen and each.box is not None and not edges.outside(each.box)
        ]
        words = [
            Thing("text", phrase.box, near, phrase.words, phrase.size)
            for phrase in phrases(texts, edges.unit)
            if (near := edges.near(phrase.box))
        ]
        art = list(near_art(inventory.objects, edges, self.settings.small / 100))
        if not words and not art:
            return []
        drawn = _draw(job, number, edges)
        words = list(_shown(words, drawn, edges))
        told = [thing.box for thing in words]
        art = [thing for thing in art if edges.large(thing.box) or not goes_with(thing, told, edges.unit)]
        return [*alike(words), *in_line(list(_shown(art, drawn, edges)), inventory.objects, edges)]

    def _level(self, thing: Thing, edges: Edges) -> tuple[How, str]:
        if thing.kind == "art":
            return self.settings.other_art, "art_in_margin"
        if thing.kind != "text":
            return self.settings.small_art, "small_art_in_margin"
        if not thing.cut:
            return "hold", "text_in_margin"
        shorter = min(edges.trim.width, edges.trim.height) * edges.unit
        huge = thing.size >= shorter * self.settings.huge_letters / 100
        return ("note", "text_runs_off") if huge else ("hold", "text_cut_off")


def _tell_left_out(job: Job, number: int, inventory: Inventory) -> None:
    job.note(
        "not_all_judged",
        f"The art has more than {len(inventory.objects):,} parts; how far they stand from the trim was measured for "
        "those only, in the order in which they are drawn.",
        page=number,
        mend="Look at the edges of the proof.",
    )


def _draw(job: Job, number: int, edges: Edges) -> Drawn | None:
    try:
        rendered = job.pages().render(number, LOOKED_AT, edges.trim.grown(BEYOND / edges.unit))
    except ValueError:
        return None
    return Drawn(rendered, edges)


def _shown(things: Iterable[Thing], drawn: Drawn | None, edges: Edges) -> Iterator[Thing]:
    """Those of which something shows in the margin, with the distance of what shows."""
    for thing in things:
        if drawn is None:
            yield thing
            continue
        near = {
            side: drawn.distance(thing.box, side, far, exact=thing.kind != "text") for side, far in thing.near.items()
        }
        kept = {side: far for side, far in near.items() if far is not None and far < edges.margin - edges.slack}
        if kept:
            yield replace(thing, near=kept)


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckMargin)
