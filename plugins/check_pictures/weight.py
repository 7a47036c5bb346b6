"""Tells of pictures that only add weight (they never show, or are far too fine), and which need no more pixels than they have."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from pikepdf import Pdf, Stream

from hotfolder.pdf.objects import entry
from hotfolder.pdf.pictures.smooth import is_smooth, is_squares
from hotfolder.plugin import Job

from .uses import Use
from .words import PPI, weight


def tell_hidden(job: Job, pdf: Pdf, hidden: Collection[tuple[int, int]], least: float) -> None:
    bytes_ = sum(_weight(pdf, key) for key in hidden)
    if not hidden or bytes_ < least * 1e6:
        return
    many = f"{len(hidden)} pictures do" if len(hidden) > 1 else "A picture does"
    it = "they lie" if len(hidden) > 1 else "it lies"
    job.note(
        "hidden_picture",
        f"{many} not print at all: {it} outside of the page, cropped away, or without opacity, and only make the file "
        "heavier.",
        measured=f"{weight(bytes_)} of pictures that don't show",
        mend="Delete what isn't needed in the layout, and export again. The print is the same.",
    )


def tell_too_fine(job: Job, pdf: Pdf, uses: Sequence[Use], most_ppi: float, least: float) -> None:
    fine = [use for use in uses if use.placed.bits > 1 and use.placed.object_id and use.ppi > most_ppi]
    bytes_ = sum(_weight(pdf, use.placed.object_id) for use in fine)
    if not fine or bytes_ < least * 1e6:
        return
    finest = max(fine, key=lambda use: use.ppi)
    many = f"{len(fine)} pictures have" if len(fine) > 1 else "A picture has"
    up_to = "up to " if len(fine) > 1 else ""
    job.note(
        "too_fine_picture",
        f"{many} {up_to}{finest.ppi:.0f} {PPI}: far more than can be seen in print, and {weight(bytes_)} of the file.",
        measured=f"{finest.ppi:.0f} ppi, {weight(bytes_)}",
        required=f"at most {most_ppi:g} ppi",
        page=finest.placed.page,
        box=finest.box,
        mend="It can stay as it is. A lighter file needs pictures of about 300 pixels per inch at the size they are shown.",
    )


def looks_smooth(pdf: Pdf, use: Use, least: float) -> bool:
    """Whether a picture is flat or changes so gently that more pixels would show nothing more.

    A shadow in a flat colour counts from half of the least resolution on; below, its pixels show at its blurred edges.
    """
    placed = use.placed
    return (
        placed.object_id is not None
        and placed.space is not None
        and is_smooth(pdf.get_object(placed.object_id), placed.space, blurred_mask=use.even >= least / 2)
    )


def shows_squares(pdf: Pdf, use: Use) -> bool:
    """Whether a picture is made of squares of several pixels, as a QR code is: nothing of it gets blurred."""
    placed = use.placed
    return placed.object_id is not None and is_squares(pdf.get_object(placed.object_id), placed.space)


def _weight(pdf: Pdf, key: tuple[int, int] | None) -> int:
    """Bytes of a picture in the file, its soft mask included."""
    picture = pdf.get_object(key) if key is not None else None
    parts = (picture, entry(picture, "/SMask"))
    return sum(len(part.get_raw_stream_buffer()) for part in parts if isinstance(part, Stream))
