"""Opens the finished file again, with other code than wrote it, and proves that only what was meant has changed."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pikepdf

from hotfolder.colour.condition import Condition
from hotfolder.moved import Placed
from hotfolder.pdf.boxes import read_boxes, size_matches
from hotfolder.pdf.pictures.kept import SHEET_SIDE
from hotfolder.pdf.render import Pages, open_pages
from hotfolder.pdf.verifying.compare import LONG_SIDE, Difference, compare_pages, prepare
from hotfolder.pdf.verifying.conformance import Page, Wanted, read_finished
from hotfolder.pdf.verifying.faults import Fault
from hotfolder.pdf.verifying.marks_check import marks_faults
from hotfolder.pdf.verifying.screen_views import screen_copies
from hotfolder.plugin import Box, Hold, Job, Moved, Part, Register, Settings, Step, hookimpl, setting, show_size

_MEND = (
    "This is most likely a fault in hotfolder, not in your file. Show this report to whoever looks after hotfolder; if it "
    "is urgent, have the file prepared by hand."
)
_ROWS = 1.5  # pixels
_STAYED = Moved((1, 0, 0, 1, 0, 0), (0, 0))
_EVERYWHERE = Box(-1e6, -1e6, 1e6, 1e6)
_STRICT = 0.2  # of the limit on the mean, where no colour was to change at all


class VerifyResultSettings(Settings):
    mean_limit: float = setting(
        1.2, "Largest mean colour difference between what was meant and what came", unit="CIEDE2000", gt=0, le=20
    )
    place_limit: float = setting(
        6.0,
        "Largest mean colour difference in any one place, 1/80 of the long side across",
        unit="CIEDE2000",
        gt=0,
        le=100,
    )
    share_limit: float = setting(
        0.25, "Largest share of the poster that may differ by more than place_limit", unit="%", ge=0, le=100
    )


class VerifyResult(Step):
    """Check the finished PDF's structure, marks and picture; hold the job where anything is not as meant.

    It changes nothing. It can't tell whether the artwork was right to begin with, nor how the print will look.
    """

    name = "verify_result"
    reads = frozenset({Part.BOXES, Part.CONTENT, Part.COLOUR, Part.PICTURES, Part.FONTS, Part.METADATA})
    Settings = VerifyResultSettings
    settings: VerifyResultSettings

    @classmethod
    def prepare(cls, condition: Condition) -> None:
        prepare(condition)

    def run(self, job: Job) -> None:
        if job.held:
            job.tell("Not done: the file is held, so there is no finished file to verify.")
            return
        if job.opened is None:
            raise Hold("nothing_to_compare", "There is no picture of the artwork as it arrived.", mend=_MEND)
        trims = _trims(job.opened, job.moved)
        profile = hashlib.sha256(job.condition.profile.read_bytes()).hexdigest()
        sheets = tuple(sheet.trim for sheet in job.sheets) or trims
        wanted = Wanted(job.condition.identifier, profile, sheets, rgb_groups=job.condition.blending == "keep")
        faults, pages = read_finished(job.artwork, wanted)
        for fault in faults:
            _hold(job, fault)
        self._check_order(job, trims)
        if pages and len(pages) == len(sheets):
            try:
                self._check_pictures(job, job.opened, pages)
            except ValueError as fault:
                _hold(job, Fault("not_drawn", f"The finished file can't be drawn to compare it: {fault}."))

    def _check_order(self, job: Job, trims: tuple[tuple[float, float], ...]) -> None:
        ordered = job.ticket.trim
        for number, trim in enumerate(trims, start=1):
            if ordered is not None and not size_matches(trim, (ordered.width, ordered.height)):
                job.hold(
                    "not_ordered_size",
                    "The finished page isn't of the size that was ordered.",
                    page=number,
                    measured=show_size(*trim),
                    required=show_size(ordered.width, ordered.height),
                    mend="Export the artwork in the ordered size, or correct the order.",
                )

    def _check_pictures(self, job: Job, opened: Path, pages: list[Page]) -> None:
        longest = max(max(page.bleed.width, page.bleed.height) for page in pages) / 72
        ppi = SHEET_SIDE / longest
        enlarged = max(one.moved.scale for number in range(1, len(pages) + 1) for one in _placed(job, number))
        before, after, convertible = screen_copies(opened, job.artwork, job.condition, ppi, enlarged)
        job.shown = (after, ppi)  # the report's proof shows the same
        found: list[Difference] = []
        with open_pages(before) as was, open_pages(after) as came:
            for number, page in enumerate(pages, start=1):
                for fault in marks_faults(after, came, number, page):
                    _hold(job, fault)
                for place in _placed(job, number):  # each copy on its own
                    found.append(self._compare(job, was, came, number, page, place))
                    self._judge(job, found[-1], number, convertible)
        if not job.held:
            job.tell(
                f"The finished file was opened again and compared with the artwork: mean colour difference "
                f"{max(one.mean for one in found):.2f} (limit {self.settings.mean_limit:g}), "
                f"{max(one.share for one in found) * 100:.2f} % of the area different (limit {self.settings.share_limit:g} %)."
            )

    def _compare(self, job: Job, was: Pages, came: Pages, number: int, page: Page, place: Placed) -> Difference:
        moved = place.moved
        area = page.bleed.common(moved.now(was.sheet(place.page))) or page.trim
        area = area.common(place.shown) or page.trim
        if job.sheets:  # the outermost row of pixels may show some of the neighbouring copy
            area = area.grown(-_ROWS * max(area.width, area.height) / LONG_SIDE)
        after = came.render(number, LONG_SIDE / max(came.shown_inches(number, area)), area)
        area, turn = moved.before(area), after.rotate - was.rotate(place.page) - 90 * moved.turns
        before = was.render(place.page, LONG_SIDE / max(was.shown_inches(place.page, area)), area, turn=turn)
        before = replace(after, picture=before.picture)  # places are told in the finished page's space
        return compare_pages(before, after, job.condition, self.settings.place_limit)

    def _judge(self, job: Job, found: Difference, number: int, colours_changed: bool) -> None:
        limit = self.settings.mean_limit * (1 if colours_changed else _STRICT)
        if found.mean > limit:
            measured, required = f"mean difference {found.mean:.2f}", f"at most {limit:g}"
        elif found.worst > self.settings.place_limit:
            measured, required = f"difference {found.worst:.1f} in one place", f"at most {self.settings.place_limit:g}"
        elif found.share * 100 > self.settings.share_limit:
            measured = f"{found.share * 100:.2f} % of the area differs by more than {self.settings.place_limit:g}"
            required = f"at most {self.settings.share_limit:g} %"
        else:
            return
        job.hold(
            "picture_changed",
            "The finished poster doesn't look like the artwork that came in.",
            measured=measured,
            required=required,
            page=number,
            box=found.box,
            mend="Compare the two pictures at the place shown. If the artwork mixes colours by transparency, flatten "
            "it in its own program and export again; otherwise the fault is hotfolder's.",
        )


def _placed(job: Job, number: int) -> tuple[Placed, ...]:
    """What of the artwork lies on a finished page, and where: itself, or what it was laid out with."""
    if job.sheets:
        return job.sheets[number - 1].placed
    return (Placed(number, job.moved.get(number, _STAYED), job.drawn_around.get(number, _EVERYWHERE)),)


def _trims(path: Path, moved: dict[int, Moved]) -> tuple[tuple[float, float], ...]:
    """Each page's trim in points, as the artwork had it when it was opened, or got it from a step that moved it."""
    with pikepdf.open(path) as pdf:
        every = [read_boxes(page) for page in pdf.pages]
    return tuple(
        moved[number].trim if number in moved else boxes.size(boxes.trim) for number, boxes in enumerate(every, start=1)
    )


def _hold(job: Job, fault: Fault) -> None:
    job.hold(
        fault.code,
        fault.message,
        measured=fault.measured,
        required=fault.required,
        page=fault.page,
        box=fault.box,
        mend=_MEND,
    )


@hookimpl
def register_steps(register: Register) -> None:
    register(VerifyResult)
