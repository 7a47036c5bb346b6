"""Opens a JPEG, TIFF or PNG picture: makes it a page of the ordered size with bleed, and says how it was placed."""

from __future__ import annotations

from typing import Literal

from hotfolder.pdf.opening.from_picture import Opened, picture_to_pdf
from hotfolder.pdf.opening.kinds import picture_kind, wrong_ending
from hotfolder.pdf.opening.picture_file import Limits
from hotfolder.pdf.opening.picture_placing import Fit, Placing, Wanted
from hotfolder.plugin import Job, Opener, Register, Settings, hookimpl, setting, show_length, show_size

_COLOURS = {1: "gray", 3: "RGB", 4: "CMYK"}


class OpenPictureSettings(Settings):
    fit: Literal["cover", "contain", "true_size"] = setting(
        "cover",
        "`cover` fills trim and bleed and crops what stands over; `contain` shows the whole picture, with white paper "
        "around it where its shape differs; `true_size` takes the size from the file's own resolution",
    )
    crop_allowance: float = setting(
        3.0, "How much of the picture's width or height may be cropped without asking", unit="%", ge=0, lt=100
    )
    most_megapixels: float = setting(
        500.0, "A picture that says it has more pixels is held before it is decoded", unit="megapixels", gt=0, le=10_000
    )
    unmarked_cmyk: Literal["hold", "inverted", "plain"] = setting(
        "hold",
        "A CMYK JPEG without Adobe's marker doesn't say what its numbers mean: `hold` asks, `inverted` reads them as "
        "most picture viewers do, `plain` as a PDF does",
    )


class OpenPicture(Opener):
    """Make a picture a one-page PDF of trim and bleed.

    It never scales pixels, converts colours or packs a JPEG anew, and it never stretches: width and height of a
    picture keep their proportion.
    """

    name = "open_picture"
    Settings = OpenPictureSettings
    settings: OpenPictureSettings

    @classmethod
    def recognises(cls, head: bytes) -> str:
        return picture_kind(head)

    def run(self, job: Job) -> None:
        ending = wrong_ending(job.name, job.kind)
        if ending:
            job.note("wrong_ending", ending)
        path = job.scratch(".pdf")
        opened = picture_to_pdf(job.original, job.kind, path, self._wanted(job), self._limits(), job.meanwhile)
        job.use(path)
        for remark in opened.remarks:
            job.note(remark.code, remark.message, mend=remark.mend)
        _tell(job, opened)
        _note_placing(job, opened.placing)

    def _wanted(self, job: Job) -> Wanted:
        ticket = job.ticket
        fit = Fit(self.settings.fit)
        return Wanted(ticket.trim, ticket.bleed, ticket.safe_margin, fit, self.settings.crop_allowance)

    def _limits(self) -> Limits:
        return Limits(self.settings.most_megapixels, self.settings.unmarked_cmyk)


def _tell(job: Job, opened: Opened) -> None:
    placing, picture = opened.placing, opened.picture
    width, height = picture.seen_pixels
    job.tell(f"The picture is {width} × {height} pixels in {_COLOURS[opened.channels]}.")
    job.tell(
        f"It is placed at {show_size(placing.picture.width, placing.picture.height)}, {_ppi(placing)}, "
        f"{_cropped(placing)}."
    )
    if picture.orientation > 1:
        job.tell("It is turned upright, as the camera or program noted in the file.")
    if placing.turned:
        trim = show_size(placing.trim.width, placing.trim.height)
        job.tell(f"The picture lies the other way than the ordered size, so the page does too: it is cut to {trim}.")


def _ppi(placing: Placing) -> str:
    across, down = placing.ppi
    if abs(across - down) < 0.01 * across:
        return f"{_round(across)} ppi"
    return f"{_round(across)} ppi across and {_round(down)} ppi down"


def _round(ppi: float) -> str:
    return f"{ppi:.0f}" if ppi >= 10 else f"{ppi:.2g}"


def _cropped(placing: Placing) -> str:
    across, down = (share * 100 for share in placing.cropped)
    parts = []
    if across >= 0.05:
        parts.append(f"{across:.1f} % cropped at left and right together")
    if down >= 0.05:
        parts.append(f"{down:.1f} % cropped at top and bottom together")
    return " and ".join(parts) or "nothing cropped"


def _note_placing(job: Job, placing: Placing) -> None:
    size = show_size(placing.trim.width, placing.trim.height)
    if placing.sized_by_file:
        job.note(
            "trim_from_picture",
            f"No size was ordered, so the picture's own resolution decided: {show_size(*_sides(placing))}, of which "
            f"{show_length(job.ticket.bleed)} on each side is taken as bleed. It is cut to {size}.",
            measured=size,
            mend="Put the ordered size on the ticket if it is to be another.",
        )
    if max(placing.white) > 0:
        sides, ends = (show_length(white) for white in placing.white)
        job.note(
            "paper_white",
            f"The picture doesn't fill the poster: {sides} of white paper stay at its left and right, {ends} at top "
            "and bottom.",
            mend="If the picture is to fill the poster, crop or extend it to the poster's shape and drop it again.",
        )


def _sides(placing: Placing) -> tuple[float, float]:
    return placing.picture.width, placing.picture.height


@hookimpl
def register_steps(register: Register) -> None:
    register(OpenPicture)
