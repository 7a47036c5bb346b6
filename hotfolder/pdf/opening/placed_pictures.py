"""Checks that the pictures inside a PDF are whole: readers fill in what is missing of one, and say nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pikepdf
from pikepdf import Dictionary, Object, Pdf, Stream

from hotfolder.finding import Hold
from hotfolder.pdf.objects import entry, name, names, stream_bytes, whole
from hotfolder.pdf.opening.deflated import look_through
from hotfolder.pdf.opening.inline_pictures import inline_pictures
from hotfolder.pdf.opening.jpeg import read_jpeg
from hotfolder.pdf.opening.jpeg_check import check_jpeg_data
from hotfolder.pdf.pictures.facts import MOST_DECODED, Facts, jpeg_bytes, last_parameters, read_facts, undress
from hotfolder.pdf.pictures.fax import check_fax
from hotfolder.pdf.pictures.jbig2 import check_jbig2
from hotfolder.pdf.pictures.jpx import check_jpx, read_jpx, read_jpx_facts
from hotfolder.pdf.pictures.kept import keep_shrunk
from hotfolder.pdf.values.spaces import GRAY, SpaceReader
from hotfolder.pdf.walk.pictures import picture_space

_SPARE = 1 << 30  # bytes that a picture's data may be longer than its pixels need: some programs write more
_PLAIN = frozenset(("", "FlateDecode", "LZWDecode", "ASCIIHexDecode", "ASCII85Decode", "RunLengthDecode"))


def pictures(pdf: Pdf) -> Iterator[Stream]:
    """Every picture that the file holds as an object, also those that no page places."""
    for item in pdf.objects:
        if isinstance(item, Stream) and name(entry(item, "/Subtype")) == "Image":
            yield item


def check_pictures(path: Path) -> None:
    """Hold where a picture's data is damaged or cut short, in every coding, also inside drawing instructions."""
    with pikepdf.open(path, suppress_warnings=True) as pdf:
        found = [(_size(picture), fault) for picture in pictures(pdf) if (fault := picture_fault(picture))]
        for inline in inline_pictures(pdf):
            if fault := inline.fault or picture_fault(inline.picture):
                found.append((_size(inline.picture), fault))
    if found:
        size, fault = found[0]
        more = f" So are {len(found) - 1} more pictures." if len(found) > 1 else ""
        raise Hold(
            "damaged_picture",
            f"A picture in the PDF ({size} pixels) is not whole: {fault}.{more}",
            measured=f"{len(found)} picture{'s' if len(found) > 1 else ''}",
            mend="Look at the pictures in the layout, link them again where they are broken, and export the PDF again.",
        )


def _size(picture: Object) -> str:
    return f"{entry(picture, '/Width')} × {entry(picture, '/Height')}"


def picture_fault(picture: Stream) -> str:
    """What is wrong with a picture's data, "" where nothing was found."""
    filters = names(entry(picture, "/Filter"))
    coding = filters[-1] if filters else ""
    try:
        if coding == "DCTDecode":
            _check_jpeg(picture)
        elif coding in _PLAIN:
            _check_plain(picture, filters)
        elif coding == "JPXDecode":
            _check_jpx(picture)
        elif coding == "CCITTFaxDecode":
            check_fax(undress(picture), last_parameters(picture), read_facts(picture, None).height)
        elif coding == "JBIG2Decode":
            shared = entry(last_parameters(picture), "/JBIG2Globals")
            check_jbig2(undress(picture), stream_bytes(shared) if shared is not None else b"")
        elif len(filters) > 1:
            undress(picture)
    except ValueError as fault:
        return str(fault).rstrip(".")
    return ""


def _check_jpeg(picture: Stream) -> None:
    data = jpeg_bytes(picture)
    start = data.find(b"\xff\xd8\xff")
    if start < 0:
        raise ValueError("its JPEG data has no beginning")
    try:
        # Decoders do without the end's marker; whether all of the picture is there is counted.
        head = read_jpeg(data[start:] + b"\xff\xd9")
        if head.process and head.bits == 8 and head.components in (1, 3, 4):
            coarse = check_jpeg_data(head)
            if coarse is not None and start == 0:
                keep_shrunk(data, coarse)
    except ValueError as fault:
        sentence = str(fault)
        raise ValueError(sentence[:1].lower() + sentence[1:]) from fault


def _check_jpx(picture: Stream) -> None:
    """All of its parts are there, and can be decoded if they are of a kind that is known here."""
    data = undress(picture)
    check_jpx(data)
    facts = read_jpx_facts(data)
    if facts.width * facts.height * len(facts.bits) <= MOST_DECODED and len(facts.bits) in (1, 3, 4):
        read_jpx(data, GRAY, 1)


def _check_plain(picture: Stream, filters: list[str]) -> None:
    facts, needed = _needed(picture)
    if needed > MOST_DECODED:
        raise ValueError(f"it claims to be {facts.width} by {facts.height} pixels")
    if filters == ["FlateDecode"]:
        raw = picture.read_raw_bytes()
        row = _packed_row(entry(picture, "/DecodeParms"))
        looked = look_through(raw, needed + _SPARE)
        if looked.fault:
            raise ValueError(f"its data {looked.fault}")
        size = looked.size if row is None else looked.size - -(-looked.size // row)
    else:
        size = len(stream_bytes(picture))
    if size < needed:
        raise ValueError(f"its data is cut short, {size} of {needed} bytes")


def _needed(picture: Stream) -> tuple[Facts, int]:
    """Bytes of the pixels, rows padded to whole bytes (ISO 32000-1 8.9.3); of one channel where its colours are unclear."""
    channels = 1
    if entry(picture, "/ImageMask") is not True:
        try:
            channels = picture_space(picture, None, SpaceReader()).n
        except ValueError:  # told by those who convert colours
            channels = 1
    facts = read_facts(picture, None)
    return facts, (facts.width * channels * facts.bits + 7) // 8 * facts.height


def _packed_row(parameters: object) -> int | None:
    """Bytes of a row with the filter's byte before it, where PNG's predictors are used (7.4.4.4)."""
    first = parameters[0] if isinstance(parameters, pikepdf.Array) and len(parameters) else parameters
    if not isinstance(first, Dictionary) or whole(first.get("/Predictor"), 1) < 10:
        return None
    colours, bits = whole(first.get("/Colors"), 1), whole(first.get("/BitsPerComponent"), 8)
    return max((whole(first.get("/Columns"), 1) * colours * bits + 7) // 8, 1) + 1
