"""Reads what a JPEG, TIFF or PNG file is before a pixel is decoded, and refuses in words what can't be printed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from hotfolder.finding import Hold
from hotfolder.pdf.opening import exif
from hotfolder.pdf.opening.jpeg import JpegHead, read_jpeg
from hotfolder.pdf.opening.png import PngHead, read_png
from hotfolder.pdf.opening.tiff import TiffHead, read_tiff, why_unusual

_LONGEST = 300_000  # pixels on a side: a banner of 25 m at 300 per inch
_LARGEST_JPEG = 2**31  # bytes; JPEG files are read whole
_SRGB_IN_EXIF = 1  # EXIF 2.3 tag 40961
SAVE_ANEW = (
    "Save the picture anew as RGB or CMYK with 8 bits per channel, flattened, or export a PDF, and drop it again."
)


@dataclass(frozen=True)
class Limits:
    """What is refused before anything is decoded, and what a JPEG's unmarked inks mean: "hold", "inverted", "plain"."""

    most_megapixels: float = 500.0
    unmarked_cmyk: str = "hold"


@dataclass(frozen=True)
class PictureFile:
    """A picture as it is stored. `orientation` 1 to 8 (TIFF 6.0 section 8), `ppi` along stored rows and columns."""

    path: Path
    kind: str
    head: JpegHead | TiffHead | PngHead
    orientation: int
    ppi: tuple[float, float] | None
    profile: bytes | None = None  # b"" where there is one that can't be read
    says_srgb: bool = False
    inverted: bool = False  # inks are stored as what they leave white

    @property
    def seen_pixels(self) -> tuple[int, int]:
        """Width and height as it is looked at."""
        stored = (self.head.width, self.head.height)
        return stored[::-1] if self.orientation >= 5 else stored

    @property
    def seen_ppi(self) -> tuple[float, float] | None:
        return self.ppi[::-1] if self.ppi and self.orientation >= 5 else self.ppi


def read_picture(path: Path, kind: str, limits: Limits) -> PictureFile:
    """What the file says of itself. Hold with a sentence where it can't be opened."""
    try:
        picture = _READERS[kind](path, limits)
    except ValueError as fault:
        raise damaged(str(fault)) from fault
    return picture


def damaged(reason: str) -> Hold:
    """The finding for a file that is broken, whatever kind it is."""
    return Hold(
        "damaged_picture",
        f"The picture can't be opened as it should be. {reason}",
        mend="Send the file again; if it fails again, save the picture anew from the program it was made in.",
    )


def unusual(reason: str) -> Hold:
    """The finding for a sound file of a kind that isn't opened."""
    return Hold("unusual_picture", f"The picture is of a kind that hotfolder doesn't open. {reason}", mend=SAVE_ANEW)


def _jpeg(path: Path, limits: Limits) -> PictureFile:
    if path.stat().st_size > _LARGEST_JPEG:
        raise unusual("The file is larger than 2 GB.")
    head = read_jpeg(path.read_bytes())
    _check_size(head.width, head.height, limits)
    if not head.process:
        raise unusual("It is a JPEG with a way of packing that PDF doesn't know.")
    if head.bits != 8 or head.components not in (1, 3, 4):
        raise unusual(
            f"It is a JPEG with {head.components} channels of {head.bits} bits; 1, 3 or 4 of 8 bits are usual."
        )
    return PictureFile(
        path,
        "jpeg",
        head,
        exif.orientation(head.exif),
        head.ppi,
        head.profile,
        head.exif.whole(exif.COLOUR_SPACE) == _SRGB_IN_EXIF,
        head.components == 4 and _inverted(head, limits),
    )


def _inverted(head: JpegHead, limits: Limits) -> bool:
    """Adobe's marker goes with inks stored upside down; without it, programs disagree and the print would be a negative."""
    if head.adobe is None and limits.unmarked_cmyk == "hold":
        raise Hold(
            "ink_sense_unknown",
            "This CMYK picture doesn't say whether its numbers mean ink or the absence of ink; read the wrong way it "
            "would print as a negative.",
            mend="Save the picture as a TIFF, or export a PDF, and drop it again.",
        )
    return head.adobe is not None or limits.unmarked_cmyk == "inverted"


def _png(path: Path, limits: Limits) -> PictureFile:
    with path.open("rb") as stream:
        head = read_png(stream)
    _check_size(head.width, head.height, limits)
    if head.animated:
        raise unusual("It is an animation of several pictures.")
    return PictureFile(path, "png", head, exif.orientation(head.exif), head.ppi, head.profile, head.says_srgb)


def _tiff(path: Path, limits: Limits) -> PictureFile:
    with path.open("rb") as stream:
        head = read_tiff(stream)
    _check_size(head.width, head.height, limits)
    if head.pages > 1:
        raise Hold(
            "several_pages",
            f"The TIFF file holds {head.pages} pages; hotfolder can't tell which one is meant.",
            measured=f"{head.pages} pages",
            required="1 page",
            mend="Save each page as a file of its own, or export a PDF with all of them.",
        )
    reason = why_unusual(head)
    if reason:
        raise unusual(reason)
    if head.extra and not head.alpha:
        _refuse_extra(head)
    return PictureFile(path, "tiff", head, exif.orientation(head.directory), exif.resolution(head.directory))


def _refuse_extra(head: TiffHead) -> None:
    colours = head.samples - head.extra
    raise Hold(
        "extra_channels",
        f"The picture has {head.samples} channels; {colours} make its colours, and nothing says what the other "
        f"{'one is' if head.extra == 1 else f'{head.extra} are'} for (a spot ink, a saved selection, transparency?).",
        measured=f"{head.samples} channels",
        required=f"{colours} channels",
        mend="Delete the extra channels, or export a PDF if one of them is a spot ink, and drop it again.",
    )


def _check_size(width: int, height: int, limits: Limits) -> None:
    if width < 1 or height < 1:
        raise ValueError(f"It says that it is {width} × {height} pixels large.")
    pixels = width * height / 1e6
    if pixels > limits.most_megapixels or max(width, height) > _LONGEST:
        raise Hold(
            "too_many_pixels",
            f"The picture says that it is {width} × {height} pixels large ({pixels:.0f} megapixels), more than "
            "hotfolder opens; the file may be damaged.",
            measured=f"{pixels:.0f} megapixels",
            required=f"{limits.most_megapixels:g} megapixels at most, no side over {_LONGEST} pixels",
            mend="Save the picture with fewer pixels: 150 per inch at final size are enough for most posters.",
        )


_READERS: dict[str, Callable[[Path, Limits], PictureFile]] = {"jpeg": _jpeg, "png": _png, "tiff": _tiff}
