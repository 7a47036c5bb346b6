"""Checks for frames and stripes so near the cut that they will look uneven when the cut is a little off."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pikepdf import Page

from hotfolder.finding import Level
from hotfolder.gathered import listed
from hotfolder.pdf.boxes import cut_of, read_boxes
from hotfolder.pdf.looking.edges import SIDES, Strips, look_along_cut
from hotfolder.pdf.looking.edges_bands import Band, frames, line_on_cut
from hotfolder.pdf.looking.edges_pictures import draw_cuts
from hotfolder.pdf.render import Pages
from hotfolder.plugin import MM, Box, Job, Length, Part, Register, Settings, Step, hookimpl, setting, show_length

ROOM = 1.5 * MM  # looked at beyond the widest band, to see where it ends
BLEED_TOLD = ("bleed_missing", "no_bleed", "little_bleed")  # art that falls short of the cut is told of already
MOST_SHOWN = 2  # pages whose shifted cuts are shown


class CheckFramesSettings(Settings):
    cutting_tolerance: Length = setting(MM, "The cut may be off by this much", unit="length", gt=0, le=10 * MM)
    hold_times: float = setting(
        2.0, "Hold a frame that is no wider than so many times `cutting_tolerance`; 0: never", unit="times", ge=0, le=10
    )
    note_times: float = setting(
        4.0,
        "Note a frame or a stripe that is no wider than so many times `cutting_tolerance`",
        unit="times",
        ge=0,
        le=10,
    )
    hold_lines: bool = setting(True, "Hold a thin line that runs along the cut itself; else it is noted")


class CheckFrames(Step):
    """Find even bands between the cut and a straight edge along it, and lines on the cut itself.

    It changes nothing. It does not judge frames whose colour or width changes along a side.
    """

    name = "check_frames"
    reads = frozenset({Part.BOXES, Part.CONTENT})
    Settings = CheckFramesSettings
    settings: CheckFramesSettings

    def run(self, job: Job) -> None:
        with job.read() as pdf:
            try:
                pages, count = job.pages(), len(pdf.pages)
                seen = [self._page(job, pages, number, page, count) for number, page in enumerate(pdf.pages, 1)]
            except ValueError as fault:
                seen = [_unseen(job, "", fault)]
        if not any(seen):
            job.tell("No narrow frame or stripe runs along the cut.")

    def _page(self, job: Job, pages: Pages, number: int, page: Page, count: int) -> bool:
        """Tell what runs along the cut of a page. Whether that is anything, or can't be seen."""
        where = f" of page {number}" if count > 1 else ""
        try:
            boxes = read_boxes(page)
            cut = cut_of(boxes, job.ticket.trim, job.ticket.bleed)
            if cut is None:
                raise ValueError("nothing says where it is cut")
            inside = self._widest + ROOM
            strips = look_along_cut(job.once, pages, number, (boxes, cut[0]), job.ticket.bleed, inside)
        except ValueError as fault:
            return _unseen(job, where, fault)
        codes = self._tell(job, number, where, strips, cut[0])
        if codes and len(job.views.get((self.name, codes[0]), [])) < 3 * MOST_SHOWN:
            job.show(codes[0], *draw_cuts(pages, number, boxes, cut[0], self.settings.cutting_tolerance))
        return bool(codes)

    @property
    def _widest(self) -> float:
        return self.settings.cutting_tolerance * max(self.settings.hold_times, self.settings.note_times)

    def _tell(self, job: Job, page: int, where: str, strips: Strips, trim: Box) -> list[str]:
        """Tell what was found on a page; the codes."""
        codes = []
        lines = [side for side in SIDES if line_on_cut(strips[side])]
        if lines:
            codes.append("line_on_cut")
            self._line(job.hold if self.settings.hold_lines else job.note, page, where, lines, trim)
        framing, stripes = frames(strips, self._widest)
        if any(finding.code in BLEED_TOLD for finding in job.findings):
            stripes = [stripe for stripe in stripes if not stripe.sliver]
            framing = [] if all(one.sliver for one in framing) else framing
        for code, bands in (("narrow_frame", framing), *(("narrow_stripe", [stripe]) for stripe in stripes)):
            level = self._level(bands)
            if bands and level is not None and not {one.strip.side for one in bands} <= set(lines):
                codes.append(code)
                self._band(job.hold if level is Level.HOLD else job.note, code, page, where, bands, trim)
        return codes

    def _level(self, bands: Sequence[Band]) -> Level | None:
        """A single stripe has nothing opposite to compare it with, and is held only where it may be cut off."""
        narrowest = min((one.width for one in bands), default=0.0) - 0.1 * MM  # what a pixel may add
        times = self.settings.hold_times if len(bands) > 1 else min(self.settings.hold_times, 1.0)
        if narrowest <= times * self.settings.cutting_tolerance and times:
            return Level.HOLD
        return Level.NOTE if narrowest <= self.settings.note_times * self.settings.cutting_tolerance else None

    def _band(
        self, report: Callable[..., None], code: str, page: int, where: str, bands: Sequence[Band], trim: Box
    ) -> None:
        off, width = self.settings.cutting_tolerance, min(one.width for one in bands)
        at, kind = _sides([one.strip.side for one in bands]), "frame" if code == "narrow_frame" else "stripe"
        wide = f"only {show_length(width)} wide"
        what = f"A white {kind} {wide}" if all(one.white for one in bands) else f"A {kind} of one colour, {wide},"
        less, more = show_length(width - off) if width > off else "nothing", show_length(width + off)
        shows = (
            f"one side may show {less} and the opposite one {more}"
            if kind == "frame"
            else f"it may show {less} or {more}"
        )
        enough = show_length(off * max(self.settings.hold_times, self.settings.note_times))
        one = bands[0].strip
        report(
            code,
            f"{what} runs along the cut{where} {at}. Where the cut is off by {show_length(off)}, {shows}.",
            measured=f"{show_length(width)} {at}",
            required=f"more than {show_length(off * self.settings.note_times)}, or none",
            page=page,
            box=trim
            if kind == "frame"
            else one.box(0, one.pixels.shape[1], one.outside, one.outside + one.rows(width)),
            mend=f"Make the {kind} wider than {enough}, or do without it and let the art run out through the bleed.",
        )

    def _line(self, report: Callable[..., None], page: int, where: str, sides: list[str], trim: Box) -> None:
        report(
            "line_on_cut",
            f"A thin line runs right along the cut{where} {_sides(sides)}. No cut meets it exactly: it will show on one "
            "sheet and be gone on the next.",
            page=page,
            box=trim,
            mend="Take the line out; where the poster is cut is told by its size and not by a line.",
        )


def _unseen(job: Job, where: str, fault: ValueError) -> bool:
    """Nothing is known to be wrong with frames then; other checks hold such a page."""
    job.tell(f"Frames near the cut{where} were not looked for: {str(fault).rstrip('.')}.")
    return True


def _sides(sides: Sequence[str]) -> str:
    named = [side for side in SIDES if side in sides]
    return "on all four sides" if len(named) == 4 else f"at the {listed(named)}"


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckFrames)
