"""Turns the colours of screens and cameras into the inks of the printing condition; vectors stay vectors."""

from __future__ import annotations

from collections import Counter

from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk
from hotfolder.plugin import Box, Job, Part, Register, Settings, Step, hookimpl, setting

#: Beyond so many a list of places helps nobody.
_MOST_FINDINGS = 20
_COUNTED = {"colours": "colour", "pictures": "picture", "gradients": "gradient", "groups": "transparency group"}


class ConvertColourSettings(Settings):
    picture_quality: int = setting(
        95,
        "JPEG quality of pictures that arrived as JPEG and must be encoded anew, once; 95 shows no loss. Pictures "
        "that arrived without loss stay without loss",
        unit="JPEG quality, 1 to 100",
        ge=60,
        le=100,
    )


class ConvertColour(Step):
    """Convert RGB, gray and other screen colours to the printing condition's inks.

    CMYK, black and spot inks stay exactly as they are; pure black and neutral text and shapes go to black ink alone.
    It never flattens transparency and never turns text or shapes into pictures: what it can't convert exactly, it
    leaves as it is and holds the job.
    """

    name = "convert_colour"
    reads = frozenset({Part.COLOUR, Part.PICTURES})
    changes = frozenset({Part.COLOUR, Part.PICTURES, Part.CONTENT})
    Settings = ConvertColourSettings
    settings: ConvertColourSettings

    def run(self, job: Job) -> None:
        with job.edit() as pdf:
            result = walk(pdf, ToCondition(job.condition, picture_quality=self.settings.picture_quality))
            if not result.changed:
                job.unchanged()
        self._report(job, result)

    def _report(self, job: Job, result: WalkResult) -> None:
        for leftover in result.leftovers[:_MOST_FINDINGS]:
            job.hold(
                "not_converted",
                f"The colour of {leftover.what} could not be converted to the press's inks exactly: {leftover.why}.",
                page=leftover.page,
                box=Box(*leftover.box) if leftover.box else None,
                mend="Convert the artwork to CMYK in the program that made it, with the printer's own profile, and export it again.",
            )
        if len(result.leftovers) > _MOST_FINDINGS:
            job.hold("not_converted", f"The same holds for {len(result.leftovers) - _MOST_FINDINGS} more places.")
        for remark in result.remarks[:_MOST_FINDINGS]:
            job.note("colour_remark", f"{remark.what[:1].upper()}{remark.what[1:]}: {remark.why}.", page=remark.page)
        done = _count(result.changed)
        if done:
            job.mended("colour_converted", f"Converted to the inks of {job.condition.title}: {done}.")
            if job.kind == "pdf":
                job.tell("CMYK, black and spot inks stayed as they were; shapes and text stayed shapes and text.")
        else:
            job.tell("All colours are inks of the press already; nothing was changed.")


def _count(changed: Counter[str]) -> str:
    return ", ".join(
        f"{changed[key]} {word}{'s' if changed[key] > 1 else ''}" for key, word in _COUNTED.items() if changed[key]
    )


@hookimpl
def register_steps(register: Register) -> None:
    register(ConvertColour)
