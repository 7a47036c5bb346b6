"""Sets overprinting right: white that would vanish in print knocks out, and if asked, small black text overprints."""

from __future__ import annotations

from collections.abc import Mapping

from hotfolder.gathered import listed
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.mappings.set_overprint import Set, SetOverprint
from hotfolder.pdf.walk.walker import walk
from hotfolder.plugin import Job, Length, Part, Register, Settings, Step, hookimpl, setting

MOST_NAMED = 5


class SetOverprintSettings(Settings):
    white: bool = setting(True, "Whether white text and shapes that overprint are set to knock out")
    black_text: Length = setting(
        0.0,
        "Black text smaller than this is set to overprint; 0pt leaves it as it is (12pt: common practice, no published source)",
        unit="length",
    )


class SetOverprintStep(Step):
    """Switch overprinting off for white that would vanish, and on for small black text if asked.

    Only clear cases: a single colour without any ink, text in black ink alone. Colours, shapes and text stay as they
    are, and so does everything around them.
    """

    name = "set_overprint"
    reads = frozenset({Part.COLOUR, Part.CONTENT})
    changes = frozenset({Part.CONTENT})
    Settings = SetOverprintSettings
    settings: SetOverprintSettings

    def run(self, job: Job) -> None:
        white: dict[int, Set] = {}
        black: dict[int, Set] = {}
        with job.edit() as pdf:
            for index, page in enumerate(pdf.pages):
                mapping = SetOverprint(
                    white=self.settings.white,
                    black_below=self.settings.black_text,
                    unit=read_boxes(page).user_unit,
                )
                walk(pdf, mapping, [index])
                white |= mapping.done.white
                black |= mapping.done.black
            count = len(pdf.pages)
            if not white and not black:
                job.unchanged()
        for number, done in _first(white):
            job.mended(
                "white_set",
                f"White that overprints would have vanished in print; it knocks out now{_where(white, count)}.",
                measured=f"{_sum(white)} set to overprint",
                required="white that knocks out",
                page=number,
                box=done.box,
            )
        for number, done in _first(black):
            job.mended(
                "black_set",
                f"Black text smaller than {self.settings.black_text:g} pt overprints now, so that no light edge "
                f"shows around it{_where(black, count)}.",
                measured=f"{_sum(black)} set to knock out",
                required="black text that overprints",
                page=number,
                box=done.box,
            )
        if not white and not black:
            job.tell("No overprinting had to be set right.")


def _first(found: Mapping[int, Set]) -> list[tuple[int, Set]]:
    return list(found.items())[:1]


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
