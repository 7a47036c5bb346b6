"""Turns the colours of screens and cameras into the inks of the printing condition; vectors stay vectors."""

from __future__ import annotations

from collections import Counter

from hotfolder.pdf.looking.finer import finer_pictures
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import walk
from hotfolder.plugin import Box, Job, Part, Register, Settings, Step, hookimpl, setting

from . import blending

#: Beyond so many a list of places helps nobody.
_MOST_FINDINGS = 20
_COUNTED = {
    "colours": "colour",
    "pictures": "picture",
    "gradients": "gradient",
    "groups": "transparency group",
    "spaces": "colour definition",
}


class ConvertColourSettings(Settings):
    picture_quality: int = setting(
        95,
        "JPEG quality of pictures that arrived as JPEG and must be encoded anew, once; 95 shows no loss. Pictures "
        "that arrived without loss stay without loss",
        unit="JPEG quality, 1 to 100",
        ge=60,
        le=100,
    )
    most_ppi: float = setting(
        0.0,
        "Pictures that are converted and finer than this where they are placed largest are made smaller, down to it; "
        "0 leaves them as fine as they are. Line art of one bit, pictures with a colour table or a mask by shape stay",
        unit="ppi",
        ge=0,
        le=10_000,
    )


class ConvertColour(Step):
    """Convert RGB, gray and other screen colours to the printing condition's inks, by its rules.

    CMYK, black and spot inks stay exactly as they are unless the printing condition says otherwise; pure black and
    neutral text and shapes go to black ink alone. It never flattens transparency and never turns text or shapes into
    pictures: what it can't convert exactly, it leaves as it is and holds the job.
    """

    name = "convert_colour"
    reads = frozenset({Part.COLOUR, Part.PICTURES})
    changes = frozenset({Part.COLOUR, Part.PICTURES, Part.CONTENT})
    Settings = ConvertColourSettings
    settings: ConvertColourSettings

    def foretell(self, job: Job) -> None:
        for page in blending.look(job)[:_MOST_FINDINGS]:
            if blending.holds(job, page):
                blending.report(job, page)
        with job.read() as pdf:  # converted in memory, and thrown away
            self._hold_leftovers(job, walk(pdf, ToCondition(job.condition)))

    def run(self, job: Job) -> None:
        mixed = blending.look(job)
        kept = [page for page in mixed if page.kept]
        with job.edit(shapes=False) as pdf:
            mapping = ToCondition(job.condition, picture_quality=self.settings.picture_quality)
            mapping.blending_told = True
            if self.settings.most_ppi:
                mapping.finer = finer_pictures(pdf, self.settings.most_ppi)
            blending.keep(pdf, mapping, kept)
            result = walk(pdf, mapping)
            if not result.changed and not kept:
                job.unchanged()
        for page in mixed[:_MOST_FINDINGS]:
            blending.report(job, page)
        self._report(job, result, kept=bool(kept))
        _report_rules(job, mapping, result.changed["areas"])

    def _hold_leftovers(self, job: Job, result: WalkResult) -> None:
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

    def _report(self, job: Job, result: WalkResult, *, kept: bool) -> None:
        self._hold_leftovers(job, result)
        for remark in result.remarks[:_MOST_FINDINGS]:
            job.note("colour_remark", f"{remark.what[:1].upper()}{remark.what[1:]}: {remark.why}.", page=remark.page)
        done = _count(result.changed)
        if done:
            job.mended("colour_converted", f"Converted to the inks of {job.condition.title}: {done}.")
            if job.kind == "pdf":
                plain = job.condition == job.condition.plain()
                inks = "CMYK, black and spot inks stayed as they were; " if plain else ""
                job.tell(f"{inks}{'s' if plain else 'S'}hapes and text stayed shapes and text.")
        elif not result.changed["areas"] and not kept:
            job.tell("All colours are inks of the press already; nothing was changed.")


def _report_rules(job: Job, mapping: ToCondition, areas: int) -> None:
    """What the condition's rules for black areas and for too much ink came to."""
    if areas:
        recipe = " / ".join(f"{amount:g}" for amount in job.condition.rich_black)
        many = f"{areas} large black areas" if areas > 1 else "A large black area"
        job.mended(
            "black_enriched",
            f"{many} had black ink alone, which prints as a dark gray there: now {recipe} percent of cyan, magenta, "
            "yellow and black.",
        )
    if not mapping.separated:
        return
    limit = f"{job.condition.ink_limit:g} %"
    job.mended(
        "separated_again",
        f"More ink than the paper takes ({limit}): separated again with less, in the same colours as nearly as the "
        f"press can print them: {_words(mapping.separated)}.",
        required=f"at most {limit}",
    )
    if mapping.still_over:
        job.note(
            "still_over_limit",
            f"Some of it still is over {limit}, because the printer's profile itself allows that much.",
            mend="Ask the printer whether profile and ink limit belong together.",
        )


def _words(separated: Counter[str]) -> str:
    """Colours and pictures by number; of gradients only that there were some, as each is computed in pieces."""
    told = _count(Counter({key: separated[key] for key in ("colours", "pictures")}))
    return ", ".join(part for part in (told, "gradients" if separated["gradients"] else "") if part)


def _count(changed: Counter[str]) -> str:
    return ", ".join(
        f"{changed[key]} {word}{'s' if changed[key] > 1 else ''}" for key, word in _COUNTED.items() if changed[key]
    )


@hookimpl
def register_steps(register: Register) -> None:
    register(ConvertColour)
