"""Reads a finished PDF with another library than wrote it, and tells where it isn't a PDF/X-4 for the press ordered.

Rules of ISO 15930-7:2010 (PDF/X-4; from memory, the standard is not public) and the clauses of ISO 32000-1 named.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pypdf import PdfReader, apply_configuration
from pypdf.errors import PyPdfError
from pypdf.generic import ArrayObject, ContentStream, DictionaryObject, IndirectObject, StreamObject

from hotfolder.finding import Box
from hotfolder.pdf.metadata_check import Fault, metadata_faults

_BOXES = ("/MediaBox", "/CropBox", "/BleedBox", "/TrimBox")
_SCREEN = ("/DeviceRGB", "/CalRGB", "/CalGray", "/Lab", "/ICCBased")
_FONT_FILES = ("/FontFile", "/FontFile2", "/FontFile3")
_USES = re.compile(rb"/([^\s()<>\[\]{}/%]+)\s+(?:[-+.\d]+\s+)?(Tf|cs|CS|Do|gs|sh|scn|SCN)(?![^\s()<>\[\]{}/%])")
_SCREEN_COLOUR = re.compile(rb"(?:[-+.\d]+\s+){3}(?:rg|RG)(?![^\s()<>\[\]{}/%])|/DeviceRGB\s+(?:cs|CS)(?!\w)")
_ESCAPE = re.compile(rb"#([0-9a-fA-F]{2})")
_CATEGORY = {"Tf": "/Font", "cs": "/ColorSpace", "CS": "/ColorSpace", "Do": "/XObject", "gs": "/ExtGState"}
_CATEGORY |= {"sh": "/Shading", "scn": "/Pattern", "SCN": "/Pattern"}
_MOST_LEVELS = 40
_TINY = 1e-6  # points: what decimal fractions lose in a float


@dataclass(frozen=True)
class Wanted:
    """What the finished file must be: the condition's identifier and profile, and each page's trim in points."""

    identifier: str
    profile_digest: str  # SHA-256, hexadecimal
    trims: tuple[tuple[float, float], ...]  # width, height before /Rotate, UserUnit counted; one for each page


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
            faults += _Drawing().faults(reader)
        except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as fault:
            message = f"A second reader can't follow the finished file ({type(fault).__name__}: {fault})."
            return [*faults, Fault("unreadable", message[:300])], []
    return faults, pages


# ---- document


def _document(reader: PdfReader, wanted: Wanted) -> Iterator[Fault]:
    root = _dictionary(reader.trailer.get("/Root"))
    ids = _resolve(reader.trailer.get("/ID"))
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
    intents = _resolve(root.get("/OutputIntents"))
    found = [_dictionary(one) for one in intents] if isinstance(intents, ArrayObject) else []
    found = [one for one in found if one.get("/S") == "/GTS_PDFX"]
    if len(found) != 1:
        yield Fault("output_intent", f"The finished file names {len(found)} printing conditions instead of one.")
        return
    identifier = str(_resolve(found[0].get("/OutputConditionIdentifier")) or "")
    if identifier != wanted.identifier:
        yield Fault(
            "output_intent",
            "The finished file names another printing condition than the one ordered.",
            measured=identifier,
            required=wanted.identifier,
        )
    profile = _resolve(found[0].get("/DestOutputProfile"))
    data = profile.get_data() if isinstance(profile, StreamObject) else b""
    if hashlib.sha256(data).hexdigest() != wanted.profile_digest:
        yield Fault(
            "output_profile", "The colour profile inside the finished file isn't that of the condition ordered."
        )
    elif data[12:20] != b"prtrCMYK" or _dictionary(profile).get("/N") != 4:
        yield Fault("output_profile", "The colour profile inside the finished file doesn't describe a CMYK press.")


# ---- pages


def _page(page: DictionaryObject, number: int, wanted: Wanted, faults: list[Fault]) -> Page:
    """Boxes present, nested and of the size ordered (32000-1 14.11.2; ISO 15930-7: trim in bleed in crop in media)."""
    boxes = {}
    for key in _BOXES:
        corners = _resolve(page.get(key))
        if not isinstance(corners, ArrayObject) or len(corners) != 4:
            faults.append(Fault("box_missing", f"The finished page has no {key[1:]}.", number))
            corners = [0, 0, 1, 1]
        x0, y0, x1, y1 = (float(side) for side in corners)
        boxes[key] = Box(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
    if "/ArtBox" in page:
        faults.append(Fault("art_box", "The finished page has an art box beside its trim box.", number))
    if _resolve(page.get("/Annots")):
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
    drawn = _dictionary(_dictionary(page.get("/Resources")).get("/XObject"))
    has_marks = any(key.startswith("/PrinterMarks") for key in drawn)
    return Page(boxes["/MediaBox"], boxes["/BleedBox"], trim, has_marks)


# ---- what is drawn


class _Drawing:
    """Follows pages, forms, patterns and glyphs through what their content streams name, each stream once."""

    def __init__(self) -> None:
        self._seen: set[tuple[int, int]] = set()
        self._faults: dict[tuple[str, str], Fault] = {}
        self._number = 0

    def faults(self, reader: PdfReader) -> list[Fault]:
        for self._number, page in enumerate(reader.pages, start=1):
            self._group(page)
            contents = page.get("/Contents")
            if contents is not None:
                data = b"\n".join(part.get_data() for part in _streams(contents))
                self._content(data, _dictionary(page.get("/Resources")), 0)
        return list(self._faults.values())

    def _add(self, code: str, message: str, what: str = "") -> None:
        self._faults.setdefault((code, what), Fault(code, message, self._number, measured=what or None))

    def _content(self, data: bytes, resources: DictionaryObject, depth: int) -> None:
        if depth > _MOST_LEVELS:
            return
        if _SCREEN_COLOUR.search(data) and _really(data):
            self._add("screen_colours", "The finished page still has screen colours.", "DeviceRGB")
        for raw, operator in set(_USES.findall(data)):
            name = "/" + _ESCAPE.sub(lambda found: bytes([int(found[1], 16)]), raw).decode("utf-8", "replace")
            category = _CATEGORY[operator.decode("ascii")]
            found = _dictionary(resources.get(category)).get(name)
            if found is not None:
                self._used(category, found, resources, depth)

    def _used(self, category: str, found: object, resources: DictionaryObject, depth: int) -> None:
        if isinstance(found, IndirectObject):
            place = (found.idnum, found.generation)
            if place in self._seen:
                return
            self._seen.add(place)
        thing = _resolve(found)
        if category == "/ColorSpace":
            self._space(thing, 0)
        elif isinstance(thing, DictionaryObject):
            getattr(self, "_" + category[1:].lower())(thing, resources, depth)

    def _xobject(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        self._stream(thing)
        if thing.get("/Subtype") == "/Image":
            if not _resolve(thing.get("/ImageMask")):
                self._space(_resolve(thing.get("/ColorSpace")), 0)
        elif thing.get("/Subtype") == "/Form":
            self._form(thing, resources, depth)
        else:
            self._add("postscript", "The finished file still has PostScript code.")

    def _form(self, form: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        self._group(form)
        if isinstance(form, StreamObject):
            own = _dictionary(form.get("/Resources")) or resources
            self._content(form.get_data(), own, depth + 1)

    def _pattern(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        if isinstance(thing, StreamObject):
            self._form(thing, resources, depth)
        else:
            self._shading(_dictionary(thing.get("/Shading")), resources, depth)

    def _shading(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        self._space(_resolve(thing.get("/ColorSpace")), 0)

    def _extgstate(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        for key in ("/TR", "/HTP"):
            if key in thing:
                self._add("transfer_curve", "The finished file still changes the press's tone curves.", key)
        mask = _resolve(thing.get("/SMask"))
        if isinstance(mask, DictionaryObject) and isinstance(group := _resolve(mask.get("/G")), DictionaryObject):
            self._form(group, resources, depth)

    def _font(self, font: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        if font.get("/Subtype") == "/Type3":
            own = _dictionary(font.get("/Resources")) or resources
            for glyph in _dictionary(font.get("/CharProcs")).values():
                if isinstance(drawn := _resolve(glyph), StreamObject):
                    self._content(drawn.get_data(), own, depth + 1)
            return
        below = _resolve(font.get("/DescendantFonts"))
        holder = _dictionary(below[0]) if isinstance(below, ArrayObject) and below else font
        descriptor = _dictionary(holder.get("/FontDescriptor"))
        if not any(isinstance(_resolve(descriptor.get(key)), StreamObject) for key in _FONT_FILES):
            self._add("font_missing", "A font isn't in the finished file.", str(font.get("/BaseFont", "")))

    def _group(self, holder: DictionaryObject) -> None:
        group = _dictionary(holder.get("/Group"))
        if "/CS" in group:
            self._space(_resolve(group.get("/CS")), 0)

    def _space(self, space: object, depth: int) -> None:
        """Nothing but the press's own inks (a CMYK output intent makes DeviceGray and DeviceCMYK its own)."""
        kind = space[0] if isinstance(space, ArrayObject) and space else space
        if kind in _SCREEN:
            self._add("screen_colours", "The finished page still has screen colours.", str(kind)[1:])
        elif kind in ("/Indexed", "/Pattern") and isinstance(space, ArrayObject) and len(space) > 1 and depth < 8:
            self._space(_resolve(space[1]), depth + 1)
        elif (
            kind in ("/Separation", "/DeviceN") and isinstance(space, ArrayObject) and _alternate(space) == "/DeviceRGB"
        ):
            self._add("screen_colours", "A special ink is described by screen colours.", "DeviceRGB")

    def _stream(self, stream: DictionaryObject) -> None:
        filters = _resolve(stream.get("/Filter"))
        if filters == "/LZWDecode" or (isinstance(filters, ArrayObject) and "/LZWDecode" in filters):
            self._add("lzw", "The finished file still packs data with LZW.")
        for key, words in (
            ("/F", "data in another file"),
            ("/OPI", "a stand-in picture"),
            ("/Ref", "another file's page"),
        ):
            if key in stream:
                self._add("outside", f"The finished file still refers to {words}.", key)


def _really(data: bytes) -> bool:
    """Whether a colour operator stands there: the quick look also finds one inside text or picture data."""
    content = ContentStream(None, None)
    content.set_data(data)
    for operands, operator in content.operations:
        if operator in (b"rg", b"RG") or (operator in (b"cs", b"CS") and operands[:1] == ["/DeviceRGB"]):
            return True
    return False


def _alternate(space: ArrayObject) -> object:
    return _resolve(space[2]) if len(space) > 2 else None


def _streams(contents: object) -> Iterator[StreamObject]:
    found = _resolve(contents)
    for part in found if isinstance(found, ArrayObject) else [found]:
        if isinstance(stream := _resolve(part), StreamObject):
            yield stream


def _resolve(value: object) -> object:
    return value.get_object() if isinstance(value, IndirectObject) else value


def _dictionary(value: object) -> DictionaryObject:
    found = _resolve(value)
    return found if isinstance(found, DictionaryObject) else DictionaryObject()


__all__ = ["Fault", "Page", "Wanted", "read_finished"]
