"""Looks into the pictures: whether they have the detail that their pixels promise, and whether JPEG's squares show."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pikepdf
import pyvips
from pikepdf import Stream
from PIL import Image

from hotfolder.pdf.objects import entry, names
from hotfolder.pdf.pictures.detail import Detail, read_detail
from hotfolder.pdf.pictures.facts import jpeg_bytes
from hotfolder.pdf.pictures.jpeg_tables import jpeg_quality
from hotfolder.pdf.pictures.pieces import MOST_PIXELS, detailed_pieces
from hotfolder.pdf.values.spaces import SpaceReader
from hotfolder.pdf.walk.pictures import picture_space
from hotfolder.plugin import MM, Job, Length, Part, Register, Settings, Step, hookimpl, setting

from . import words
from .shown import Shown, shown_pictures

ENLARGED = 0.55  # of the promised detail: more is within what cameras and their lenses do
MEANT_SOFT = 0.125  # less than this is a blurred ground or a gradient: nobody enlarges eight times by mistake
COARSE_QUALITY = 65  # JPEG quality above which no squares show (measured, see the README)
LEAST_STEP = 3.0  # levels of 255 by which squares must stand out
MOST_READ = 48_000_000  # pixels of all pictures together, those shown largest first
MOST_TOLD = 10


class CheckSharpnessSettings(Settings):
    least_detail: float = setting(
        70.0,
        "A picture with less real detail than this part of the ticket's `least_ppi` counts as soft",
        unit="%",
        ge=0,
        le=100,
    )
    soft: Literal["note", "hold"] = setting("note", "Whether a soft picture is noted or holds the job")
    blocky: Literal["note", "hold"] = setting(
        "note", "Whether a picture with visible squares is noted or holds the job"
    )
    least_square: Length = setting(0.5 * MM, "Squares narrower than this on paper are not seen", unit="length")
    least_side: Length = setting(25 * MM, "A picture with no side longer than this is not judged", unit="length")


class CheckSharpness(Step):
    """Note pictures whose pixels hold less detail than they promise, and pictures with visible JPEG squares.

    It reads pixels and changes none. A picture that is out of focus looks like one that was enlarged: it is told the same.
    """

    name = "check_sharpness"
    reads = frozenset({Part.PICTURES})
    Settings = CheckSharpnessSettings
    settings: CheckSharpnessSettings

    def run(self, job: Job) -> None:
        left, told, looked = MOST_READ, 0, 0
        with job.read() as pdf:
            count = len(pdf.pages)
            for shown in sorted(shown_pictures(job, pdf), key=lambda one: -one.size[0] * one.size[1]):
                if max(shown.size) <= self.settings.least_side or left <= 0 or told >= MOST_TOLD:
                    continue
                left -= min(MOST_PIXELS, shown.pixels[0] * shown.pixels[1])
                picture = pdf.get_object(shown.key)
                detail = _look(picture)
                looked += detail.share is not None
                start = words.which(shown.page, count, shown.pixels, shown.size)
                told += self._soft(job, shown, detail, start) or self._blocky(job, shown, picture, detail, start)
        if looked and not told:
            job.tell("The pictures have the detail that their pixels promise, as far as their pixels tell.")

    def _soft(self, job: Job, shown: Shown, detail: Detail, start: str) -> bool:
        if detail.share is None or not MEANT_SOFT < detail.share < ENLARGED:
            return False
        real, needed = shown.ppi * detail.share, job.ticket.least_ppi
        if (
            real >= needed * self.settings.least_detail / 100 or shown.ppi < needed
        ):  # fewer pixels: check_pictures tells
            return False
        report = job.hold if self.settings.soft == "hold" else job.note
        report(
            "soft_picture",
            words.soft(start, shown.ppi, real),
            measured=f"detail of about {words.about(real)} ppi",
            required=f"detail of {needed * self.settings.least_detail / 100:.0f} ppi",
            page=shown.page,
            box=shown.box,
            mend=words.soft_mend(job.kind, shown.size, needed),
        )
        _show(job, "soft_picture", detail)
        return True

    def _blocky(self, job: Job, shown: Shown, picture: object, detail: Detail, start: str) -> bool:
        square = 8 / shown.ppi * 72
        if detail.step < LEAST_STEP or square < self.settings.least_square:
            return False
        quality = _quality(picture)
        if quality is None or quality > COARSE_QUALITY:
            return False
        report = job.hold if self.settings.blocky == "hold" else job.note
        report(
            "blocky_picture",
            words.blocky(start, square / MM),
            measured=f"JPEG quality of about {quality}; squares {square / MM:.1f} mm wide",
            required=f"squares narrower than {self.settings.least_square / MM:.1f} mm, or none to be seen",
            page=shown.page,
            box=shown.box,
            mend=words.BLOCKY_MEND,
        )
        _show(job, "blocky_picture", detail)
        return True


def _look(picture: object) -> Detail:
    """What can't be read tells nothing here: the steps that must read it tell of it."""
    if not isinstance(picture, Stream):
        return Detail()
    try:
        return read_detail(detailed_pieces(picture, picture_space(picture, None, SpaceReader())))
    except (ValueError, pyvips.Error, pikepdf.PdfError):
        return Detail()


def _quality(picture: object) -> int | None:
    if not isinstance(picture, Stream) or names(entry(picture, "/Filter"))[-1:] != ["DCTDecode"]:
        return None
    try:
        return jpeg_quality(jpeg_bytes(picture))
    except (ValueError, pikepdf.PdfError):
        return None


def _show(job: Job, code: str, detail: Detail) -> None:
    if detail.piece is not None:
        piece = Image.fromarray(np.clip(detail.piece, 0, 255).astype(np.uint8))
        job.show(
            code,
            ("A part of it, three times as large as its pixels", piece.resize((384, 384), Image.Resampling.NEAREST)),
        )


@hookimpl
def register_steps(register: Register) -> None:
    register(CheckSharpness)
