"""Turns a picture (JPEG, TIFF, PNG) into a PDF of one page: trim, bleed, and the picture on it.

A JPEG's bytes go in unchanged, and so do a PNG's packed pixels where PDF can hold them as they are; everything else is
decoded and packed again without loss. Nothing is scaled, sharpened or converted to other colours here.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from hotfolder.finding import Box
from hotfolder.pdf.boxes import MOST_UNITS
from hotfolder.pdf.opening.jpeg import JpegHead
from hotfolder.pdf.opening.jpeg_check import check_jpeg_data
from hotfolder.pdf.opening.one_page import PdfFile
from hotfolder.pdf.opening.picture_colour import DEVICE, Colour, Remark, picture_colour
from hotfolder.pdf.opening.picture_file import Limits, PictureFile, damaged, read_picture
from hotfolder.pdf.opening.picture_pixels import Decoded, decode, packed
from hotfolder.pdf.opening.picture_placing import Placing, Wanted, place
from hotfolder.pdf.opening.png import PALETTE, PngHead, checked_pixels
from hotfolder.pdf.pictures.kept import keep_shrunk

# Where the corners of a picture go, by its orientation (TIFF 6.0 section 8): x and y of the page as a, b, c, d, e, f of
# a matrix (ISO 32000-1 8.3.3) for a picture that fills a square of one by one.
_TURNS = {
    1: (1, 0, 0, 1, 0, 0),
    2: (-1, 0, 0, 1, 1, 0),
    3: (-1, 0, 0, -1, 1, 1),
    4: (1, 0, 0, -1, 0, 1),
    5: (0, -1, -1, 0, 1, 1),
    6: (0, -1, 1, 0, 0, 1),
    7: (0, 1, 1, 0, 0, 0),
    8: (0, 1, -1, 0, 1, 0),
}


@dataclass
class Opened:
    """What became of a picture: where it stands, and what there is to say about it."""

    picture: PictureFile
    placing: Placing
    channels: int = 0
    remarks: list[Remark] = field(default_factory=list)


@dataclass(frozen=True)
class _Stored:
    """The picture as it will stand in the PDF: its dictionary's entries, and its data."""

    channels: int
    entries: str
    data: Iterable[bytes]
    palette: bytes = b""
    decoded: Decoded | None = None


#: Runs a check now, or beside the work that follows.
Later = Callable[[Callable[[], None]], None]
_LARGE = 2**21  # bytes of JPEG data whose check is worth running beside other work


def _now(check: Callable[[], None]) -> None:
    check()


def picture_to_pdf(
    source: Path, kind: str, target: Path, wanted: Wanted, limits: Limits, later: Later = _now
) -> Opened:
    """Write the page. Hold where the picture is damaged, unusual, or can't be placed as wanted.

    `kind` is "jpeg", "tiff" or "png". After a Hold the target may be half written. `later` is handed the check of a
    large JPEG's coded data, which raises Hold too.
    """
    picture = read_picture(source, kind, limits)
    opened = Opened(picture, place(picture.seen_pixels, picture.seen_ppi, wanted))
    stored = _stored(picture, later)
    opened.channels = stored.channels
    colour, opened.remarks = picture_colour(picture, stored.channels, _profile(picture, stored))
    try:
        with target.open("wb") as stream:
            _write(PdfFile(stream), picture, opened.placing, stored, colour)
    except ValueError as fault:
        raise damaged(str(fault)) from fault
    if stored.decoded is not None and stored.decoded.see_through:
        opened.remarks.append(
            Remark("laid_on_white", "Parts of the picture are see-through; white paper will show there.")
        )
    return opened


def _profile(picture: PictureFile, stored: _Stored) -> bytes | None:
    if picture.kind == "tiff" and stored.decoded is not None:
        image = stored.decoded.image
        return bytes(image.get("icc-profile-data")) if "icc-profile-data" in image.get_fields() else None
    return picture.profile


def _stored(picture: PictureFile, later: Later) -> _Stored:
    if isinstance(picture.head, JpegHead):
        return _stored_jpeg(picture, picture.head, later)
    if isinstance(picture.head, PngHead) and not picture.head.see_through and not picture.head.interlaced:
        return _stored_png(picture, picture.head)
    decoded = decode(picture)
    return _Stored(
        decoded.channels,
        _flate(decoded.channels, decoded.bits, picture.head.width),
        packed(decoded),
        decoded=decoded,
    )


def _stored_jpeg(picture: PictureFile, head: JpegHead, later: Later) -> _Stored:
    def check() -> None:
        try:
            coarse = check_jpeg_data(head)
        except ValueError as fault:
            raise damaged(str(fault)) from fault
        if coarse is not None:
            keep_shrunk(head.data[: head.end], coarse)

    (later if head.end > _LARGE else _now)(check)
    # ISO 32000-1 8.9.5.2: a Decode array turned round is how a PDF says that its inks are stored upside down.
    decode_array = " /Decode [1 0 1 0 1 0 1 0]" if picture.inverted else ""
    filters = f"/Filter /DCTDecode /DecodeParms << /ColorTransform {head.colour_transform} >>"
    return _Stored(head.components, f"/BitsPerComponent 8 {filters}{decode_array}", [head.data[: head.end]])


def _stored_png(picture: PictureFile, head: PngHead) -> _Stored:
    def data() -> Iterable[bytes]:
        with picture.path.open("rb") as stream:
            yield from checked_pixels(stream, head)

    is_palette = head.colour == PALETTE
    entries = _flate(head.channels, head.bits, head.width)
    return _Stored(3 if is_palette else head.channels, entries, data(), palette=head.palette)


def _flate(channels: int, bits: int, width: int) -> str:
    parameters = f"/Predictor 15 /Colors {channels} /BitsPerComponent {bits} /Columns {width}"
    return f"/BitsPerComponent {bits} /Filter /FlateDecode /DecodeParms << {parameters} >>"


def _write(pdf: PdfFile, picture: PictureFile, placing: Placing, stored: _Stored, colour: Colour) -> None:
    catalog, pages, page = pdf.reserve(), pdf.reserve(), pdf.reserve()
    space = colour.space
    if colour.profile is not None:
        channels = colour.profile.channels
        entries = f"/N {channels} /Alternate {DEVICE[channels]} /Filter /FlateDecode"
        profile = pdf.add_stream(entries, [zlib.compress(colour.profile.data)])
        space = space.format(profile=f"{profile} 0 R")
    if stored.palette and isinstance(picture.head, PngHead) and picture.head.colour == PALETTE:
        most = min(len(stored.palette) // 3, 2**picture.head.bits) - 1
        space = f"[/Indexed {space} {most} <{stored.palette[: 3 * most + 3].hex()}>]"
    size = f"/Width {picture.head.width} /Height {picture.head.height}"
    image = pdf.add_stream(f"/Type /XObject /Subtype /Image {size} /ColorSpace {space} {stored.entries}", stored.data)
    unit = max(1, math.ceil(max(placing.sheet.width, placing.sheet.height) / MOST_UNITS - 1e-9))
    content = pdf.add_stream("", [_content(placing, picture.orientation, unit)])
    boxes = " ".join(
        f"/{name} [{_numbers(box, unit)}]"
        for name, box in (("MediaBox", placing.sheet), ("BleedBox", placing.sheet), ("TrimBox", placing.trim))
    )
    scale = f" /UserUnit {unit}" if unit > 1 else ""
    resources = f"/Resources << /XObject << /Picture {image} 0 R >> >>"
    pdf.add(f"<< /Type /Page /Parent {pages} 0 R {boxes}{scale} {resources} /Contents {content} 0 R >>", page)
    pdf.add(f"<< /Type /Pages /Kids [{page} 0 R] /Count 1 >>", pages)
    pdf.add(f"<< /Type /Catalog /Pages {pages} 0 R >>", catalog)
    pdf.finish(catalog)


def _content(placing: Placing, orientation: int, unit: int) -> bytes:
    """Paint the picture in its box, turned as it is to be looked at, and nothing beyond the bleed."""
    box, sheet = placing.picture, placing.sheet
    a, b, c, d, e, f = _TURNS[orientation]
    width, height = box.width, box.height
    matrix = (a * width, b * height, c * width, d * height, box.left + e * width, box.bottom + f * height)
    clip = "" if box.within(sheet, 1e-4) else f"{_numbers((0, 0, sheet.width, sheet.height), unit)} re W n\n"
    return f"q\n{clip}{_numbers(matrix, unit)} cm\n/Picture Do\nQ\n".encode("ascii")


def _numbers(values: Box | Iterable[float], unit: int) -> str:
    return " ".join(f"{value / unit:.4f}" for value in values)
