"""Finishes the poster as PDF/X-4, the form of PDF that printers ask for."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import PurePath

import hotfolder
from hotfolder.names import printable
from hotfolder.pdf.finishing.obstacles import Obstacle
from hotfolder.pdf.finishing.seal import Intent, seal
from hotfolder.pdf.finishing.xmp import About, clean
from hotfolder.plugin import Hold, Job, Part, Register, Settings, Step, hookimpl

_JOB_TIME = re.compile(r"\d{8}-\d{6}")

#: What each obstacle means to a designer, and what to do: {what} is a list of names, {where} the page.
SENTENCES: dict[str, tuple[str, str]] = {
    "colour_left": (
        "The artwork still has colours that are not the press's inks ({what}).",
        "Export the artwork with all colours converted to CMYK for the printing condition ordered.",
    ),
    "ink_in_screen_colours": (
        "The spot ink {what} is described by screen colours, so no press could stand in for it.",
        "Define the spot ink with a CMYK or Lab alternative and export again.",
    ),
    "ink_defined_twice": (
        "The spot ink {what} is described in two different ways.",
        "Give the ink one definition in all linked files and export again.",
    ),
    "font_not_embedded": (
        "A font is missing from the file ({what}); the press would set the text in another one.",
        "Export again with all fonts embedded, or turn the text into outlines.",
    ),
    "printing_annotation": (
        "A comment or form field lies on the poster and would be printed ({what}).",
        "Remove it, or make it part of the artwork by printing the page to a new PDF.",
    ),
    "layer_print_switch": (
        "A layer turns itself on or off when the file is printed, so the print would differ from the screen.",
        "Set every layer to show or not, or merge the layers, and export again.",
    ),
    "postscript_inside": (
        "The file carries PostScript code, which draws differently on every machine.",
        "Place that part of the artwork as PDF or as a picture and export again.",
    ),
    "stand_in_picture": (
        "A picture is only a stand-in for one that a server would put in its place.",
        "Put the full pictures into the artwork and export again.",
    ),
    "outside_reference": (
        "A part of the artwork is to be fetched from another file.",
        "Embed all linked files and export again.",
    ),
    "outside_data": (
        "The data of a picture lies outside the file.",
        "Embed all linked pictures and export again.",
    ),
    "alternate_for_print": (
        "A picture has another version that would be printed in its place.",
        "Keep only the version that is meant and export again.",
    ),
    "transfer_curve": (
        "The artwork changes the tone curves of the press.",
        "Export again without transfer functions.",
    ),
}


class SealPdfSettings(Settings):
    """Nothing to set: the printing condition says for which press the file is made."""


class SealPdf(Step):
    """Write the finished file as PDF/X-4 with the printing condition's profile inside, or hold and say what hinders.

    It takes out scripts, links, forms, bookmarks, thumbnails and attachments. It converts no colour, embeds no font
    and flattens neither transparency nor comments.
    """

    name = "seal_pdf"
    reads = frozenset({Part.COLOUR, Part.FONTS, Part.CONTENT})
    changes = frozenset({Part.BOXES, Part.METADATA})
    Settings = SealPdfSettings
    settings: SealPdfSettings

    def run(self, job: Job) -> None:
        out = job.scratch(".pdf")
        condition = job.condition
        intent = Intent(condition.identifier, condition.title, condition.registry, condition.profile.read_bytes())
        try:
            with job.edit() as pdf:
                sealed = seal(pdf, out, intent, _about(job), rgb_groups=condition.blending == "keep")
                if sealed.obstacles:
                    job.unchanged()
                else:
                    job.use(out)
        except ValueError as fault:
            raise Hold(
                "cannot_seal", f"The file can't be finished for the press. {fault}", mend="Export the artwork again."
            ) from fault
        for obstacle in sealed.obstacles.values():
            _report(job, obstacle)
        if sealed.obstacles:
            return
        job.tell(f"Finished as PDF/X-4 for {condition.title}; the profile is inside the file.")
        if sealed.removed:
            job.tell(f"Taken out, because a press has no use for it: {', '.join(sealed.removed)}.")
        if sealed.earlier_intent:
            job.note(
                "other_condition",
                f"The artwork says it was made for another printing condition ({sealed.earlier_intent}). "
                "Its CMYK colours were left as they are.",
                measured=sealed.earlier_intent,
                required=condition.identifier,
                mend=f"If colours matter, export the artwork for {condition.title}.",
            )


def _about(job: Job) -> About:
    time = _job_time(job)
    title = clean(job.ticket.title) or clean(PurePath(printable(job.name)).stem) or job.id
    producer = f"hotfolder {getattr(hotfolder, '__version__', '')}".strip()
    return About(title=title, created=time, modified=time, identity=job.id, producer=producer)


def _job_time(job: Job) -> dt.datetime:
    """When the job began, which its id tells; the same job run again so gives the same file."""
    found = _JOB_TIME.match(job.id)
    if found is None:
        return dt.datetime.now(dt.UTC).replace(microsecond=0)
    return dt.datetime.strptime(found[0], "%Y%m%d-%H%M%S").astimezone()


def _report(job: Job, obstacle: Obstacle) -> None:
    message, mend = SENTENCES[obstacle.code]
    few = ", ".join(printable(name) for name in obstacle.what[:4])
    more = f" and {len(obstacle.what) - 4} more" if len(obstacle.what) > 4 else ""
    job.hold(obstacle.code, message.format(what=few + more), page=obstacle.page, box=obstacle.box, mend=mend)


@hookimpl
def register_steps(register: Register) -> None:
    register(SealPdf)
