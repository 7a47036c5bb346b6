"""Checks what the inks will do on press: too much of them in one place, small text of many, white that vanishes."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pikepdf

from hotfolder.colour.condition import Condition
from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.looking.coverage import bare_view, measure, neighbours, places_over, small_view
from hotfolder.pdf.looking.ink_watch import Kind, Sizes, find_inked
from hotfolder.pdf.plates import Plates, make_plates
from hotfolder.pdf.plates.proof import prepare
from hotfolder.plugin import Job, Length, Part, Register, Settings, Step, hookimpl, setting

from .looked import Looked, judge_small
from .names import alike, spot_names
from .whites import NEAR, vanishing
from .words import Teller, coverage_sentence

MOST_VIEWS, VIEW_SIDE = 4, 260  # pages whose plates the report shows, and their pixels


class CheckInkSettings(Settings):
    ppi: float = setting(72.0, "Resolution at which the plates are measured", unit="ppi", ge=20, le=300)
    hold_area: float = setting(
        1.0,
        "Hold where more than this area in one connected place exceeds the printing condition's ink limit "
        "(common practice, no published source)",
        unit="cm²",
        ge=0,
        le=10_000,
    )
    note_area: float = setting(
        0.1,
        "Note where smaller places above the limit come to more than this area together (common practice, no "
        "published source)",
        unit="cm²",
        ge=0,
        le=10_000,
    )
    tolerance: float = setting(
        2.0,
        "How far above the limit still counts as within it: four inks, each rounded to 1/255 in the picture and again "
        "on the plate, can add up to 1.6 without anybody's fault",
        unit="percent of ink",
        ge=0,
        le=50,
    )
    built_text: Length = setting(
        8.0, "Note text smaller than this built from more than two inks (what printers ask for: 8pt)", unit="length"
    )
    reversed_text: Length = setting(
        8.0,
        "Note light text smaller than this on a ground of more than two inks (what printers ask for: 8pt)",
        unit="length",
    )
    built_line: Length = setting(
        1.0,
        "Note lines thinner than this built from more than two inks (printers ask for up to 2pt; 1pt: common practice)",
        unit="length",
    )
    black_text: Length = setting(
        12.0,
        "Note black text smaller than this that knocks out the colour below it (common practice, no published source)",
        unit="length",
    )
    paper_white: bool = setting(
        False, "Whether the report's picture of all inks together shows the colour of the condition's paper too"
    )
    most_findings: int = setting(3, "How many places above the limit to tell of one by one", ge=1, le=100)


class CheckInk(Step):
    """Measure every ink on every page; hold what goes wrong on press, and note what may.

    It changes nothing. It can't know the press: its printer's own limit, set in the printing condition, decides.
    """

    name = "check_ink"
    reads = frozenset({Part.COLOUR, Part.CONTENT, Part.PICTURES})
    Settings = CheckInkSettings
    settings: CheckInkSettings

    @classmethod
    def prepare(cls, condition: Condition) -> None:
        prepare(condition)

    def run(self, job: Job) -> None:
        looked, artwork = Looked(converted=not job.held), job.artwork
        with job.read() as pdf:
            teller = Teller(job.condition, len(pdf.pages))
            for number in range(1, teller.count + 1):
                try:
                    self._page(job, artwork, pdf, number, looked, teller)
                except ValueError as fault:
                    teller.no_plates(number, str(fault))
        self._tell(job, looked, teller)
        job.findings += teller.findings
        for sentence in self._sentences(job, looked, teller.count):
            job.tell(sentence)

    def _page(self, job: Job, artwork: Path, pdf: pikepdf.Pdf, number: int, looked: Looked, teller: Teller) -> None:
        boxes = read_boxes(pdf.pages[number - 1])
        keeps = job.condition.blending == "keep"
        met = find_inked(pdf, number, self._sizes(), boxes.user_unit, rgb_groups=keeps)
        # Ink is judged over squares of a millimetre, for which pictures of half the resolution will do.
        ppi, coarse = self.settings.ppi, self.settings.ppi / 2
        plates = make_plates(artwork, number, ppi, job.condition, boxes.bleed, picture_ppi=coarse)
        ink = measure(plates)
        looked.inks[number] = ink
        if len(job.ink) < MOST_VIEWS:
            job.ink.append(small_view(plates, ink, job.condition, VIEW_SIDE, paper=self.settings.paper_white))
        else:
            job.ink.append(bare_view(ink, job.condition))
        self._limit(job.condition.ink_limit, plates, boxes, teller)
        if met.counts[Kind.WHITE_OVERPRINT]:
            looked.whites += vanishing(artwork, plates, job.condition, boxes)
        judge_small(looked, plates, met, boxes)

    def _sizes(self) -> Sizes:
        asked = self.settings
        return Sizes(asked.built_text, asked.reversed_text, asked.black_text, asked.built_line)

    def _limit(self, limit: float, plates: Plates, boxes: PageBoxes, teller: Teller) -> None:
        """Too much ink dries slowly, sticks to the next sheet and tears the paper's surface."""
        asked = self.settings
        found = places_over(plates, limit + asked.tolerance)
        large = neighbours([place for place in found if place.square_cm > asked.hold_area], NEAR / boxes.user_unit)
        for place in large[: asked.most_findings]:
            teller.over_limit(plates.page, place)
        if len(large) > asked.most_findings:
            teller.more_over_limit(plates.page, large[asked.most_findings :])
        # Beyond the trim stand the artwork's own printer's marks, in all inks at once; what stands amid a place that
        # was told of needs no word of its own.
        small = [
            place
            for place in found
            if place.square_cm <= asked.hold_area
            and place.box.common(boxes.trim)
            and not any(place.box.within(told.box, NEAR / boxes.user_unit) for told in large)
        ]
        if sum(place.square_cm for place in small) > asked.note_area:
            teller.small_over_limit(plates.page, small)

    def _tell(self, job: Job, looked: Looked, teller: Teller) -> None:
        teller.whites(looked.whites)
        teller.registration(looked.registration)
        teller.screen_colours(looked.screen_colours)
        teller.spots(spot_names(looked.inks), job.ticket.inks)
        for pair in alike(looked.inks):
            teller.alike(*pair)
        teller.small(looked.small, self.settings)

    def _sentences(self, job: Job, looked: Looked, count: int) -> Iterator[str]:
        for page, ink in list(looked.inks.items())[:MOST_VIEWS]:
            yield coverage_sentence(page, ink, job.condition, count)
        if len(looked.inks) > MOST_VIEWS:
            yield f"The ink of all {len(looked.inks)} pages was measured; the log has the figures."
        for doubt in dict.fromkeys(doubt for view in job.ink for doubt in view.doubts):
            yield f"The plates are not certain in one point: {doubt}."
        if not looked.converted:
            yield "Whether colours of screens are left was not looked at: the job was held before."


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckInk)
