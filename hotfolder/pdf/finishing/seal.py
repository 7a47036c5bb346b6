"""Finishes a PDF as PDF/X-4 (ISO 15930-7:2010): boxes, output intent, metadata, and nothing a press has no use for.

It converts no colour, embeds no font and flattens nothing: what can't stand in such a file is handed back.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from pathlib import Path

import pikepdf
from pikepdf import Array, Dictionary, Name, Stream, StreamDecodeLevel, String
from pikepdf.models.metadata import decode_pdf_date

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes, read_boxes, set_box
from hotfolder.pdf.finishing.obstacles import Obstacles, find_obstacles
from hotfolder.pdf.finishing.strip import strip_document, strip_page, strip_page_tree
from hotfolder.pdf.finishing.xmp import About, clean, info_dictionary, xmp_packet
from hotfolder.pdf.objects import entry, name, names

#: Header of the finished file: PDF/X-4 stands on PDF 1.6.
PDF_VERSION = "1.6"
_DIGITS = 10_000  # boxes are written to 1/10 000 unit


@dataclass(frozen=True)
class Intent:
    """For which printing condition the file is made (ISO 32000-1 table 365)."""

    identifier: str
    title: str
    registry: str
    profile: bytes


@dataclass(frozen=True)
class Sealed:
    """What was done: obstacles (where there are any, nothing was saved), things taken out, the intent replaced."""

    obstacles: Obstacles
    removed: tuple[str, ...]
    earlier_intent: str


def seal(pdf: pikepdf.Pdf, out: Path, intent: Intent, about: About, *, rgb_groups: bool = False) -> Sealed:
    """Make the open PDF a PDF/X-4 and save it as `out`, unless something in it can't conform.

    `about` says title, times and identity; the artwork's own title, author, program and date of making win over
    empty ones. `rgb_groups`: see `find_obstacles`. ValueError with one sentence where a page's boxes make no sense.
    """
    obstacles, removed = Obstacles(), set[str]()
    every = [_boxes(page) for page in pdf.pages]
    for number, (page, boxes) in enumerate(zip(pdf.pages, every, strict=True), start=1):
        removed |= strip_page(page, number, boxes, obstacles)
        for box in ("MediaBox", "CropBox", "BleedBox", "TrimBox"):
            set_box(page, box, getattr(boxes, box.removesuffix("Box").lower()))
    earlier = _earlier_intent(pdf)
    about = _with_artwork(pdf, about)
    removed |= strip_document(pdf, obstacles)
    strip_page_tree(pdf)
    find_obstacles(pdf, obstacles, rgb_groups=rgb_groups)
    if not obstacles:
        _pack_anew(pdf)
        _set_intent(pdf, intent)
        _set_metadata(pdf, about)
        _save(pdf, out)
    return Sealed(obstacles, tuple(sorted(removed)), earlier if earlier != intent.identifier else "")


# ---- boxes


def _boxes(page: pikepdf.Page) -> PageBoxes:
    """The page's boxes, each around the one inside it: rounded outwards, trim in bleed in crop in media."""
    found = read_boxes(page)
    trim = Box(*(round(side * _DIGITS) / _DIGITS for side in found.trim))
    bleed = _outwards(_around(found.bleed if "BleedBox" in found.declared else found.trim, trim))
    media = _outwards(_around(found.media, bleed))
    crop = _outwards(found.crop)
    crop = crop if bleed.within(crop) and crop.within(media) else media
    return replace(found, trim=trim, bleed=bleed, media=media, crop=crop)


def _outwards(box: Box) -> Box:
    """A checker rejects a bleed that is a ten-thousandth of a point too narrow for its trim."""
    low = [math.floor(round(side * _DIGITS, 3)) / _DIGITS for side in box[:2]]
    high = [math.ceil(round(side * _DIGITS, 3)) / _DIGITS for side in box[2:]]
    return Box(*low, *high)


def _around(one: Box, other: Box) -> Box:
    """The smallest box that holds both."""
    return Box(
        min(one.left, other.left),
        min(one.bottom, other.bottom),
        max(one.right, other.right),
        max(one.top, other.top),
    )


# ---- output intent


def _earlier_intent(pdf: pikepdf.Pdf) -> str:
    """The printing condition that the artwork itself was made for, "" where it names none."""
    present = pdf.Root.get("/OutputIntents")
    for found in present if isinstance(present, Array) else []:
        for key in ("/OutputConditionIdentifier", "/OutputCondition", "/Info"):
            value = entry(found, key)
            if isinstance(value, String) and clean(str(value)) not in ("", "Custom"):
                return clean(str(value))
    return ""


def _set_intent(pdf: pikepdf.Pdf, intent: Intent) -> None:
    """Exactly one output intent, with the profile inside (14.11.5; PDF/X-4 wants DestOutputProfile embedded)."""
    profile = pdf.make_indirect(Stream(pdf, intent.profile, N=4))
    described = Dictionary(
        Type=Name.OutputIntent,
        S=Name.GTS_PDFX,
        OutputConditionIdentifier=String(clean(intent.identifier) or "Custom"),
        OutputCondition=String(clean(intent.title)),
        Info=String(clean(intent.title) or "Custom"),
        DestOutputProfile=profile,
    )
    if intent.registry:
        described.RegistryName = String(clean(intent.registry))
    pdf.Root.OutputIntents = Array([pdf.make_indirect(described)])


# ---- metadata


def _with_artwork(pdf: pikepdf.Pdf, about: About) -> About:
    """What the artwork says of itself, where it says something."""
    info = pdf.trailer.get("/Info")
    return replace(
        about,
        title=clean(_text(info, "/Title")) or about.title,
        author=clean(_text(info, "/Author")) or about.author,
        creator=clean(_text(info, "/Creator")) or about.creator,
        created=_date(_text(info, "/CreationDate"), about.modified) or about.created,
        trapped=name(entry(info, "/Trapped")) == "True",
    )


def _text(info: object, key: str) -> str:
    value = entry(info, key)
    return str(value) if isinstance(value, String) else ""


def _date(text: str, latest: dt.datetime) -> dt.datetime | None:
    """A PDF date (7.9.4) with its zone, None for nonsense and for times to come."""
    try:
        found = decode_pdf_date(text) if text else None
    except (ValueError, OverflowError):
        return None
    if found is None:
        return None
    found = found if found.tzinfo else found.replace(tzinfo=dt.UTC)
    return found if dt.datetime(1990, 1, 1, tzinfo=dt.UTC) < found <= latest else None


def _set_metadata(pdf: pikepdf.Pdf, about: About) -> None:
    packet = Stream(pdf, xmp_packet(about), Type=Name.Metadata, Subtype=Name.XML)
    pdf.Root.Metadata = pdf.make_indirect(packet)
    pdf.trailer.Info = pdf.make_indirect(info_dictionary(about))


# ---- saving


def _pack_anew(pdf: pikepdf.Pdf) -> None:
    """LZW may not be used. Saving repacks most such streams; here those whose data is packed twice, as LZW of JPEG."""
    for found in pdf.objects:
        if not isinstance(found, Stream) or "LZWDecode" not in names(found.get("/Filter")):
            continue
        kinds = names(found.get("/Filter"))
        last = len(kinds) - kinds[::-1].index("LZWDecode")
        if last == len(kinds):
            continue
        given = found.get("/DecodeParms")
        parts = list(given) if isinstance(given, Array) else []
        parms = [
            parts[n] if n < len(parts) and isinstance(parts[n], Dictionary) else Dictionary() for n in range(len(kinds))
        ]
        outer = Stream(pdf, found.read_raw_bytes())
        outer.Filter = Array([Name("/" + kind) for kind in kinds[:last]])
        outer.DecodeParms = Array(parms[:last])
        try:
            data = outer.read_bytes(StreamDecodeLevel.generalized)
        except (pikepdf.PdfError, RuntimeError, ValueError) as fault:  # ValueError: numbers out of range
            raise ValueError("Data in it that is packed twice can't be unpacked.") from fault
        found.write(
            data,
            filter=Array([Name("/" + kind) for kind in kinds[last:]]),
            decode_parms=Array(parms[last:]),
        )


def _save(pdf: pikepdf.Pdf, out: Path) -> None:
    """Without encryption, as PDF 1.6; the file's numbers (/ID) follow from its content, so the same job gives the same."""
    for key in ("/Version", "/Extensions"):
        if key in pdf.Root:
            del pdf.Root[key]
    pdf.save(
        out,
        force_version=PDF_VERSION,
        object_stream_mode=pikepdf.ObjectStreamMode.generate,
        deterministic_id=True,
        fix_metadata_version=False,  # the packet is right as it is
    )
