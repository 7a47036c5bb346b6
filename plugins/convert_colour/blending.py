"""Decides by measurement what becomes of transparency that was mixed in RGB: converted, kept as it is, or held."""

from __future__ import annotations

from dataclasses import dataclass

import pikepdf

from hotfolder.pdf.looking.mixing import Mixing, find_mixing
from hotfolder.pdf.mappings import ToCondition
from hotfolder.pdf.mappings.keep_blending import KeepBlending, wrap_page
from hotfolder.pdf.verifying.blending import BlendingChange, measure_blending
from hotfolder.plugin import Hold, Job

_MEND = (
    "Set the document's transparency blending space to CMYK in the program that made it, look whether the colours still "
    "please, and export again; or flatten the transparency there. To send it blended in RGB, or converted as it is, set "
    "blending of the printing condition to keep or convert."
)


@dataclass(frozen=True)
class Mixed:
    """A page that mixes in RGB, and what converting it would change: None where that could not be measured."""

    mixing: Mixing
    change: BlendingChange | None
    why: str = ""  # it could not be measured
    kept: bool = False  # its groups stay in RGB


def look(job: Job) -> list[Mixed]:
    """All pages that mix in RGB, each measured as it is before the conversion."""
    with pikepdf.open(job.artwork) as pdf:
        found = find_mixing(pdf)
    return [_measured(job, mixing) for mixing in found]


def _measured(job: Job, mixing: Mixing) -> Mixed:
    keeps, limit = job.condition.blending == "keep", job.condition.blending_limit
    try:
        change = measure_blending(job.artwork, mixing.page, job.condition)
    except ValueError as fault:
        return Mixed(mixing, None, str(fault).rstrip("."), keeps)
    return Mixed(mixing, change, kept=keeps and change.worst > limit)


def keep(pdf: pikepdf.Pdf, mapping: ToCondition, pages: list[Mixed]) -> None:
    """Make the mapping pass over what stays in RGB. Hold where a page can't be read."""
    groups: set[tuple[int, int]] = set()
    for mixing in (mixed.mixing for mixed in pages if mixed.kept):
        try:
            groups |= {wrap_page(pdf, mixing.page)} if mixing.whole else mixing.groups
        except ValueError as fault:
            message = f"What page {mixing.page} mixes by transparency can't be kept in RGB: {str(fault).rstrip('.')}."
            raise Hold("blending_changes", message, page=mixing.page, mend=_MEND) from fault
    if groups:
        mapping.kept_groups, mapping.keeper = frozenset(groups), KeepBlending(mapping)


def holds(job: Job, mixed: Mixed) -> bool:
    """Whether what was measured holds the job, by the condition's rule."""
    beyond = mixed.change is None or mixed.change.worst > job.condition.blending_limit
    return job.condition.blending == "hold" and beyond


def report(job: Job, mixed: Mixed) -> None:
    """What was measured on one page, and what was done."""
    change, page, limit = mixed.change, mixed.mixing.page, f"at most {job.condition.blending_limit:g}"
    if change is None:
        message = (
            "Colours that this poster mixes by transparency may come out differently in ink than on the screen; how far "
            f"could not be measured: {mixed.why}."
        )
        if job.condition.blending == "hold":
            job.hold("blending_changes", message, page=page, mend=_MEND)
        else:
            job.note("blending_kept" if mixed.kept else "blending_converted", message, page=page)
        return
    beyond = change.worst > job.condition.blending_limit
    measured = f"difference {change.worst:.1f} {'at the place shown' if beyond else 'at most'} (CIEDE2000)"
    if mixed.kept:
        job.note(
            "blending_kept",
            "Colours that this poster mixes by transparency would come out differently in ink than on the screen, so "
            "they stay in RGB, with their profile, and the printer's software mixes and converts them. Black alone and "
            "other pure inks among them become mixtures there.",
            measured=measured,
            required=limit,
            page=page,
            box=change.box,
            mend="Ask the printer for a proof, and whether its software takes PDF/X-4 that blends in RGB.",
        )
    elif beyond and job.condition.blending == "hold":
        job.hold(
            "blending_changes",
            "Colours that this poster mixes by transparency (shadows, see-through areas) come out differently in ink "
            "than on the screen.",
            measured=measured,
            required=limit,
            page=page,
            box=change.box,
            mend=_MEND,
        )
    else:
        clause = "; the printing condition asks for it" if beyond else ""
        job.note(
            "blending_converted",
            f"Colours that this poster mixes by transparency were mixed in RGB, and now are in the press's inks{clause}.",
            measured=measured,
            required=limit if beyond else None,
            page=page,
            box=change.box if beyond else None,
        )
