"""Sets overprinting right: white that would vanish knocks out, and if asked, small black text and lines overprint."""

from __future__ import annotations

from collections.abc import Mapping

from hotfolder.gathered import listed
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.mappings.set_overprint import Done, Set, SetOverprint
from hotfolder.pdf.walk.walker import walk
from hotfolder.plugin import Job, Length, Part, Register, Settings, Step, hookimpl, setting

from .views import pictures

MOST_NAMED = 5
_WHITE = "White that overprints would have vanished in print; it knocks out now"
_BLACK = "Black {} overprint now, so that no light edge shows around them where the inks don't meet exactly"


class SetOverprintSettings(Settings):
    white: bool = setting(True, "Whether white text and shapes that overprint are set to knock out")
    black_text: Length = setting(
        0.0,
        "Black text smaller than this is set to overprint; 0pt leaves it as it is (12pt: common practice, no published source)",
        unit="length",
    )
    black_lines: Length = setting(
        0.0,
        "Black lines thinner than this are set to overprint; 0pt leaves them as they are (2pt: common practice, no published source)",
        unit="length",
    )


class SetOverprintStep(Step):
    """Switch overprinting off for white that would vanish, and on for small black text and thin black lines if asked.

    Only clear cases: a single colour without any ink, text and lines in black ink alone. Colours, shapes and text stay as they
    are, and so does everything around them.
    """

    name = "set_overprint"
    reads = frozenset({Part.COLOUR, Part.CONTENT})
    changes = frozenset({Part.CONTENT})
    Settings = SetOverprintSettings
    settings: SetOverprintSettings

    def run(self, job: Job) -> None:
        done, before = Done(), job.artwork
        with job.edit() as pdf:
            for index, page in enumerate(pdf.pages):
                mapping = SetOverprint(
                    white=self.settings.white,
                    black_below=self.settings.black_text,
                    lines_below=self.settings.black_lines,
                    unit=read_boxes(page).user_unit,
                )
                walk(pdf, mapping, [index])
                done.white |= mapping.done.white
                done.black |= mapping.done.black
                done.lines |= mapping.done.lines
            count = len(pdf.pages)
            if not (done.white or done.black or done.lines):
                job.unchanged()
        text, lines = (f"{size:g} pt" for size in (self.settings.black_text, self.settings.black_lines))
        for code, found, message, measured, required in (
            ("white_set", done.white, _WHITE, "overprint", "white that knocks out"),
            (
                "black_set",
                done.black,
                _BLACK.format(f"letters smaller than {text}"),
                "knock out",
                "black text that overprints",
            ),
            (
                "lines_set",
                done.lines,
                _BLACK.format(f"lines thinner than {lines}"),
                "knock out",
                "black lines that overprint",
            ),
        ):
            if not found:
                continue
            number, first = next(iter(found.items()))
            job.mended(
                code,
                f"{message}{_where(found, count)}.",
                measured=f"{_sum(found)} set to {measured}",
                required=required,
                page=number,
                box=first.box,
            )
            if first.box is not None:
                job.show(code, *pictures(job, before, number, first.box, apart=code != "white_set"))
        if not (done.white or done.black or done.lines):
            job.tell("No overprinting had to be set right.")


def _sum(found: Mapping[int, Set]) -> str:
    count = sum(done.count for done in found.values())
    return f"{count} {'piece' if count == 1 else 'pieces'}"


def _where(found: Mapping[int, Set], count: int) -> str:
    pages = [str(page) for page in found]
    more = [f"{len(pages) - MOST_NAMED} more"] if len(pages) > MOST_NAMED else []
    return f" (page{'s' if len(pages) > 1 else ''} {listed(pages[:MOST_NAMED] + more)})" if count > 1 else ""


@hookimpl
def register_steps(register: Register) -> None:
    register(SetOverprintStep)
