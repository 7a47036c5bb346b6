"""Checks that a finished PDF says the same of itself in both places where readers look: Info and XMP."""

from __future__ import annotations

import datetime as dt
import xml.etree.ElementTree as ET
from collections.abc import Iterator

from pypdf import PdfReader
from pypdf.generic import DictionaryObject, StreamObject

from hotfolder.pdf.verifying.faults import Fault, resolve

_SPACES = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "pdf": "http://ns.adobe.com/pdf/1.3/",
    "pdfxid": "http://www.npes.org/pdfx/ns/id/",
}
#: What PDF/X-4 wants in XMP (ISO 15930-7, from memory).
REQUIRED = (
    "pdfxid:GTS_PDFXVersion",
    "dc:title",
    "xmp:CreateDate",
    "xmp:ModifyDate",
    "xmp:MetadataDate",
    "xmpMM:DocumentID",
    "xmpMM:VersionID",
    "xmpMM:RenditionClass",
    "pdf:Trapped",
)
_MOST_BYTES = 4_000_000


def metadata_faults(reader: PdfReader) -> Iterator[Fault]:
    """What is missing in XMP, and where Info says otherwise."""
    root = reader.trailer["/Root"].get_object()
    stream = resolve(root.get("/Metadata")) if isinstance(root, DictionaryObject) else None
    said = read_packet(stream.get_data()) if isinstance(stream, StreamObject) else {}
    for key in REQUIRED:
        if not said.get(key):
            yield Fault("metadata_missing", f"The finished file's metadata lacks {key}.", measured=key)
    if said.get("pdfxid:GTS_PDFXVersion") not in (None, "PDF/X-4"):
        yield Fault("metadata_wrong", "The finished file doesn't say that it is PDF/X-4.")
    info = resolve(reader.trailer.get("/Info"))
    info = info if isinstance(info, DictionaryObject) else DictionaryObject()
    if said.get("pdf:Trapped") not in ("True", "False") or str(info.get("/Trapped", ""))[1:] != said.get("pdf:Trapped"):
        yield Fault("trapped", "The finished file doesn't say clearly whether it is trapped.")
    for key, other in (("/Title", "dc:title"), ("/Producer", "pdf:Producer"), ("/Creator", "xmp:CreatorTool")):
        if str(resolve(info.get(key)) or "") != said.get(other, ""):
            yield Fault("metadata_disagrees", f"Info and XMP disagree on {other}.", measured=other)
    for key, other, date in (
        ("/CreationDate", "xmp:CreateDate", reader.metadata.creation_date if reader.metadata else None),
        ("/ModDate", "xmp:ModifyDate", reader.metadata.modification_date if reader.metadata else None),
    ):
        if key in info and not _same_time(date, said.get(other, "")):
            yield Fault("metadata_disagrees", f"Info and XMP disagree on {other}.", measured=other)


def read_packet(data: bytes) -> dict[str, str]:
    """The simple values of an XMP packet by `prefix:name`; {} where it is no XML, or carries its own entities."""
    if len(data) > _MOST_BYTES or b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        return {}
    try:
        tree = ET.fromstring(data.decode("utf-8", "replace").strip())
    except ET.ParseError:
        return {}
    found: dict[str, str] = {}
    for block in tree.iter(f"{{{_SPACES['rdf']}}}Description"):
        found |= {_short(key): value for key, value in block.attrib.items()}
        found |= {_short(child.tag): " ".join("".join(child.itertext()).split()) for child in block}
    return found


def _short(tag: str) -> str:
    space, _, name = tag[1:].partition("}")
    prefix = next((prefix for prefix, known in _SPACES.items() if known == space), "?")
    return f"{prefix}:{name}"


def _same_time(date: dt.datetime | None, text: str) -> bool:
    try:
        other = dt.datetime.fromisoformat(text)
    except ValueError:
        return False
    return date is not None and (date.tzinfo is None) == (other.tzinfo is None) and date == other
