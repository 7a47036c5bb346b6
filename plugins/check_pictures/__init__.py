"""Checks that every picture has enough pixels for the size at which it is printed."""

from __future__ import annotations

from collections.abc import Sequence

from pikepdf import Pdf

from hotfolder.finding import About, Level
from hotfolder.plugin import MM, Job, Length, Part, Register, Settings, Step, hookimpl, setting

from . import words
from .uses import Use, largest_uses
from .weight import looks_smooth, shows_squares, tell_hidden, tell_too_fine
from .words import PPI


class CheckPicturesSettings(Settings):
    hold_below: float = setting(90.0, "Hold below this part of the ticket's `least_ppi`", unit="%", ge=0, le=1000)
    note_below: float = setting(100.0, "Note below this part of the ticket's `least_ppi`", unit="%", ge=0, le=1000)
    least_line_art_ppi: float = setting(
        600.0, "Note black-and-white line art of less than this (common practice)", unit="ppi", ge=0, le=10_000
    )
    least_side: Length = setting(2 * MM, "A picture with no side longer than this is not judged", unit="length")
    least_mirrored: Length = setting(
        25 * MM, "A mirrored picture with no side as long as this is not told of", unit="length"
    )
    too_fine_ppi: float = setting(600.0, "Note pictures finer than this that are heavy", unit="ppi", ge=150, le=100_000)
    least_weight: float = setting(
        1.0, "From how much on pictures that don't show, or are too fine, are told of, all together", unit="MB", ge=0
    )
    most_findings: int = setting(10, "How many pictures to tell of one by one; the rest are counted", ge=1, le=1000)


class CheckPictures(Step):
    """Compare the resolution of every placed picture, after all scaling, with the ticket's least one.

    It looks at pixels only to pass what is smooth all over, or made of squares. What was enlarged beforehand has enough of them and is soft
    all the same: check_sharpness tells.
    """

    name = "check_pictures"
    reads = frozenset({Part.PICTURES})
    Settings = CheckPicturesSettings
    settings: CheckPicturesSettings

    def run(self, job: Job) -> None:
        settings = self.settings
        with job.read() as pdf:
            count = len(pdf.pages)
            uses, hidden = largest_uses(job, pdf, settings.least_side)
            detailed = self._detailed(job, pdf, uses)
            held = self._judge(job, pdf, detailed, count)
            self._tell_mirrored(job, detailed)
            tell_hidden(job, pdf, hidden, settings.least_weight)
            tell_too_fine(job, pdf, uses, settings.too_fine_ppi, settings.least_weight)
        if not held:
            least = min((use.ppi for use in uses), default=0)
            which = "The picture has" if len(uses) == 1 else f"All {len(uses)} pictures have"
            job.tell(f"{which} {least:.0f} {PPI} or more." if uses else "There are no pictures that show.")

    def _detailed(self, job: Job, pdf: Pdf, uses: Sequence[Use]) -> list[Use]:
        """The pictures of which more pixels would show more; of the others that lack some, one note."""
        least, settings = job.ticket.least_ppi, self.settings
        wanted = least * max(settings.note_below, settings.hold_below) / 100
        smooth = [use for use in uses if use.even < wanted and looks_smooth(pdf, use, least)]
        if coarse := [use for use in smooth if use.even < least * settings.hold_below / 100]:
            words.note_smooth(job, coarse)
        return [use for use in uses if use not in smooth]

    def _judge(self, job: Job, pdf: Pdf, uses: list[Use], count: int) -> bool:
        least, settings = job.ticket.least_ppi, self.settings
        floor, modest = least * settings.hold_below / 100, least * settings.note_below / 100
        coarse = [use for use in uses if use.even < floor]
        lines = [use for use in uses if use.placed.bits == 1 and floor <= use.even < settings.least_line_art_ppi]
        tight = [use for use in uses if use.placed.bits != 1 and floor <= use.even < modest]
        coarse, lines, tight = (
            [use for use in lacking if not shows_squares(pdf, use)] for lacking in (coarse, lines, tight)
        )
        stretched = [use for use in uses if use.is_stretched]
        skewed = [use for use in uses if use.is_skewed]
        for code, level, found, needed in (
            ("coarse_picture", Level.HOLD, coarse, max(least, floor)),
            ("modest_picture", Level.NOTE, tight, modest),
            ("coarse_line_art", Level.NOTE, lines, settings.least_line_art_ppi),
            ("stretched_picture", Level.NOTE, stretched, 0.0),
            ("skewed_picture", Level.NOTE, skewed, 0.0),
        ):
            self._tell(job, code, level, sorted(found, key=lambda use: use.ppi), needed, count)
        return bool(coarse)

    def _tell(self, job: Job, code: str, level: Level, found: Sequence[Use], needed: float, count: int) -> None:
        report = job.hold if level is Level.HOLD else job.note
        for use in found[: self.settings.most_findings]:
            report(
                code,
                f"{words.which(use, count)} {words.WORDS[code].format(ppi=f'{use.ppi:.0f}', needed=f'{needed:g}')}",
                **_about(use, code, needed, job.kind, level),
            )
        rest = found[self.settings.most_findings :]
        if rest:
            message = f"{len(rest)} more picture{'s' if len(rest) > 1 else ''}: the same. The next has {rest[0].ppi:.0f} {PPI}."
            report(code, message, measured=f"{len(rest)} more", page=rest[0].placed.page, box=rest[0].box)

    def _tell_mirrored(self, job: Job, uses: Sequence[Use]) -> None:
        """One note for all: many are mirrored on purpose."""
        mirrored = [use for use in uses if use.is_mirrored and max(use.size) >= self.settings.least_mirrored]
        if mirrored:
            largest = max(mirrored, key=lambda use: use.size[0] * use.size[1])
            several = len(mirrored) > 1
            many, them = (f"{len(mirrored)} pictures are", "them") if several else ("A picture is", "it")
            job.note(
                "mirrored_picture",
                f"{many} shown mirrored. Lettering, clocks and the like in {them} would be the wrong way round.",
                measured=f"{len(mirrored)} mirrored",
                page=largest.placed.page,
                box=largest.box,
                mend=f"If that isn't meant, turn {them} back in the layout.",
            )


def _about(use: Use, code: str, needed: float, kind: str, level: Level) -> About:
    about: About = {"page": use.placed.page, "box": use.box}
    if needed:
        mend = words.mend_resolution(use, needed, kind, level)
        return {**about, "measured": f"{use.ppi:.0f} ppi", "required": f"{needed:g} ppi", "mend": mend}
    if code == "skewed_picture":
        return {**about, "required": "sides at right angles", "mend": words.STRAIGHT}
    measured = f"{use.placed.ppi_x:.0f} × {use.placed.ppi_y:.0f} ppi"
    return {**about, "measured": measured, "required": "the same across and up", "mend": words.EVENLY}


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckPictures)
