"""Brings a page to the ordered size: enlarges or reduces it by the scale agreed, turns it, and sets its boxes."""

from __future__ import annotations

from typing import Annotated

from pikepdf import Pdf
from pydantic import BeforeValidator, Field

from hotfolder.pdf.boxes import PageBoxes, read_boxes
from hotfolder.pdf.looking.extent import ordered_art
from hotfolder.pdf.mending.fitting import Allowed, Fit, plan_fit
from hotfolder.pdf.mending.moving import move_page
from hotfolder.plugin import Box, Hold, Job, Part, Register, Settings, Step, hookimpl, setting

from .views import both_views
from .words import parse_scale, reasons, sentences, write_scale

Scale = Annotated[str, BeforeValidator(write_scale)]


class FitPageSettings(Settings):
    scales: Annotated[tuple[Scale, ...], Field(max_length=20)] = setting(
        (),
        'Scales at which artwork may come and is brought to the ordered size, such as ["1:2", "1:4", "1:10"]; '
        "[] for none",
    )
    enlarge: float = setting(
        1.0, "A page of the ordered shape that is smaller by up to this much is enlarged; A4 to A3 takes 42", unit="%",
        ge=0, le=900,
    )  # fmt: skip
    reduce: float = setting(
        1.0, "A page of the ordered shape that is larger is reduced by up to this much; A2 to A3 takes 30", unit="%",
        ge=0, le=90,
    )  # fmt: skip
    turn: bool = setting(False, "Whether a page that lies across the order is turned by 90 degrees to the left")
    cut_out: bool = setting(
        False,
        "Whether a larger page without trim box is cut around its art, where that has the ordered size, alone or with a "
        "usual bleed around",
    )
    plain_unit: bool = setting(
        True, "Whether a page that counts in larger units than points is written in points; it prints at the same size"
    )


class FitPage(Step):
    """Scale a page of the right shape to the ordered size, turn it, and say where it is cut.

    It never changes a page's shape, never cuts art off to make it fit (beyond what rounding a side to whole
    millimetres comes to), and draws no bleed where there is none. The drawing stays what it is; how fine pictures and
    type are at the new size is for the checks after it. A page whose boxes contradict each other it leaves alone.
    """

    name = "fit_page"
    reads = frozenset({Part.BOXES, Part.CONTENT})
    changes = frozenset({Part.BOXES, Part.CONTENT, Part.PICTURES, Part.FONTS})
    mends = True
    Settings = FitPageSettings
    settings: FitPageSettings

    def run(self, job: Job) -> None:
        plans = self._plans(job)
        if not plans:
            job.tell("Nothing to turn or to scale.")
            return
        before = job.artwork
        with job.edit() as pdf:
            for number, fit in plans.items():
                page = pdf.pages[number - 1]
                try:
                    move_page(pdf, page, read_boxes(page), fit)
                except ValueError as fault:
                    raise Hold(
                        "not_fitted",
                        f"Page {number} could not be brought to the ordered size. {fault}",
                        page=number,
                        mend="Set the page to the ordered size in the layout and export again.",
                    ) from fault
            count = len(pdf.pages)
        for number, fit in plans.items():
            job.move(number, fit.moved)
        for said in sentences(plans, count):
            job.mended(said.code, said.message, measured=said.measured, required=said.required, page=said.page)
        first = next(iter(plans))
        job.show(reasons(plans[first]), *both_views(before, job.artwork, first, plans[first]))

    def _plans(self, job: Job) -> dict[int, Fit]:
        """What is to be done, by page from 1. A page whose boxes can't be read is for check_geometry to tell."""
        allowed = Allowed(
            scales=tuple(parse_scale(scale) for scale in self.settings.scales),
            least=1 - self.settings.reduce / 100,
            most=1 + self.settings.enlarge / 100,
            turn=self.settings.turn,
            plain_unit=self.settings.plain_unit,
        )
        plans: dict[int, Fit] = {}
        with job.read() as pdf:
            for number, page in enumerate(pdf.pages, start=1):
                try:
                    boxes = read_boxes(page)
                    art = self._art(job, pdf, number, boxes) if self.settings.cut_out else None
                    fit = plan_fit(boxes, job.ticket.trim, job.ticket.bleed, allowed, art)
                except ValueError:
                    continue
                if fit is not None:
                    plans[number] = fit
        return plans

    def _art(self, job: Job, pdf: Pdf, page: int, boxes: PageBoxes) -> tuple[Box, Box] | None:
        if job.ticket.trim is None or "TrimBox" in boxes.declared:
            return None
        inventory = job.inventory(pdf, page, boxes.user_unit)
        return ordered_art(inventory, boxes, job.ticket.trim, job.ticket.bleed)


@hookimpl
def register_steps(register: Register) -> None:
    register(FitPage)
