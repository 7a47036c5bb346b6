"""Reads a finished PDF with another library than wrote it, and tells where it isn't a PDF/X-4 for the press ordered.

Rules of ISO 15930-7:2010 (PDF/X-4; from memory, the standard is not public) and the clauses of ISO 32000-1 named.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pypdf import PdfReader, apply_configuration
from pypdf.errors import PyPdfError
from pypdf.generic import ArrayObject, DictionaryObject, StreamObject

from hotfolder.finding import Box
from hotfolder.pdf.verifying.drawing_check import drawing_faults
from hotfolder.pdf.verifying.faults import Fault, dictionary, resolve
from hotfolder.pdf.verifying.metadata_check import metadata_faults

_BOXES = ("/MediaBox", "/CropBox", "/BleedBox", "/TrimBox")
_TINY = 1e-6  # points: what decimal fractions lose in a float


@dataclass(frozen=True)
class Wanted:
    """What the finished file must be: the condition's identifier and profile, and each page's trim in points.

    `rgb_groups`: a group may blend in RGB with a profile, and hold colours with profiles then.
    """

    identifier: str
    profile_digest: str  # SHA-256, hexadecimal
    trims: tuple[tuple[float, float], ...]  # width, height before /Rotate, UserUnit counted; one for each page
    rgb_groups: bool = False


@dataclass(frozen=True)
class Page:
    """What was read of a page: its boxes in user space, and whether printer's marks of ours stand on it."""

    media: Box
    bleed: Box
    trim: Box
    has_marks: bool


def read_finished(path: Path, wanted: Wanted) -> tuple[list[Fault], list[Page]]:
    """Every fault found, and the pages as far as they could be read (empty where the file can't be opened)."""
    faults: list[Fault] = []
    # The reader's guard against declared lengths would refuse large pictures; no stream is longer than its file.
    longest = max(path.stat().st_size, 75_000_000)
    with path.open("rb") as stream, apply_configuration(maximum_declared_stream_length=longest):
        head = stream.read(8)
        if head != b"%PDF-1.6":
            faults.append(Fault("wrong_version", "The finished file isn't marked as PDF 1.6, on which PDF/X-4 stands."))
        try:
            reader = PdfReader(stream, strict=False)
            if reader.is_encrypted:
                return [*faults, Fault("encrypted", "The finished file is encrypted.")], []
            faults += _document(reader, wanted)
            faults += metadata_faults(reader)
            pages = [_page(page, number, wanted, faults) for number, page in enumerate(reader.pages, start=1)]
            faults += drawing_faults(reader, rgb_groups=wanted.rgb_groups)
        except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as fault:
            message = f"A second reader can't follow the finished file ({type(fault).__name__}: {fault})."
            return [*faults, Fault("unreadable", message[:300])], []
    return faults, pages


# ---- document


def _document(reader: PdfReader, wanted: Wanted) -> Iterator[Fault]:
    root = dictionary(reader.trailer.get("/Root"))
    ids = resolve(reader.trailer.get("/ID"))
    if not isinstance(ids, ArrayObject) or len(ids) != 2:
        yield Fault("no_file_id", "The finished file has no file identifier.")
    for key in ("/OpenAction", "/AA", "/AcroForm", "/Names", "/Collection"):
        if key in root:
            yield Fault("active_content", f"The finished file still has scripts, actions or forms ({key[1:]}).")
    if len(reader.pages) != len(wanted.trims):
        yield Fault(
            "page_count",
            "The finished file has another number of pages than the artwork.",
            measured=str(len(reader.pages)),
            required=str(len(wanted.trims)),
        )
    yield from _intent(root, wanted)


def _intent(root: DictionaryObject, wanted: Wanted) -> Iterator[Fault]:
    """Exactly one GTS_PDFX intent, its profile embedded, of a printer (`prtr`), for CMYK (32000-1 14.11.5)."""
    intents = resolve(root.get("/OutputIntents"))
    found = [dictionary(one) for one in intents] if isinstance(intents, ArrayObject) else []
    found = [one for one in found if one.get("/S") == "/GTS_PDFX"]
    if len(found) != 1:
        yield Fault("output_intent", f"The finished file names {len(found)} printing conditions instead of one.")
        return
    identifier = str(resolve(found[0].get("/OutputConditionIdentifier")) or "")
    if identifier != wanted.identifier:
        yield Fault(
            "output_intent",
            "The finished file names another printing condition than the one ordered.",
            measured=identifier,
            required=wanted.identifier,
        )
    profile = resolve(found[0].get("/DestOutputProfile"))
    data = profile.get_data() if isinstance(profile, StreamObject) else b""
    if hashlib.sha256(data).hexdigest() != wanted.profile_digest:
        yield Fault(
            "output_profile", "The colour profile inside the finished file isn't that of the condition ordered."
        )
    elif data[12:20] != b"prtrCMYK" or dictionary(profile).get("/N") != 4:
        yield Fault("output_profile", "The colour profile inside the finished file doesn't describe a CMYK press.")


# ---- pages


def _page(page: DictionaryObject, number: int, wanted: Wanted, faults: list[Fault]) -> Page:
    """Boxes present, nested and of the size ordered (32000-1 14.11.2; ISO 15930-7: trim in bleed in crop in media)."""
    boxes = {}
    for key in _BOXES:
        corners = resolve(page.get(key))
        if not isinstance(corners, ArrayObject) or len(corners) != 4:
            faults.append(Fault("box_missing", f"The finished page has no {key[1:]}.", number))
            corners = [0, 0, 1, 1]
        x0, y0, x1, y1 = (float(side) for side in corners)
        boxes[key] = Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
    if "/ArtBox" in page:
        faults.append(Fault("art_box", "The finished page has an art box beside its trim box.", number))
    if resolve(page.get("/Annots")):
        faults.append(Fault("annotations", "The finished page still has comments, links or form fields.", number))
    if "/AA" in page:
        faults.append(Fault("active_content", "The finished page still has actions.", number))
    for inner, outer in (("/TrimBox", "/BleedBox"), ("/BleedBox", "/CropBox"), ("/CropBox", "/MediaBox")):
        if not boxes[inner].within(boxes[outer], _TINY):
            message = f"The finished page's {inner[1:]} reaches beyond its {outer[1:]}."
            faults.append(Fault("boxes_not_nested", message, number, box=boxes[inner]))
    trim, unit = boxes["/TrimBox"], float(page.get("/UserUnit", 1))
    if number <= len(wanted.trims):
        aim = wanted.trims[number - 1]
        size = (trim.width * unit, trim.height * unit)
        if any(abs(side - other) > 0.01 * max(1.0, unit) for side, other in zip(size, aim, strict=True)):
            faults.append(
                Fault(
                    "trim_changed",
                    "The finished page is cut to another size than the artwork.",
                    number,
                    measured=f"{size[0]:.2f} × {size[1]:.2f} pt",
                    required=f"{aim[0]:.2f} × {aim[1]:.2f} pt",
                    box=trim,
                )
            )
    drawn = dictionary(dictionary(page.get("/Resources")).get("/XObject"))
    has_marks = any(key.startswith("/PrinterMarks") for key in drawn)
    return Page(boxes["/MediaBox"], boxes["/BleedBox"], trim, has_marks)
