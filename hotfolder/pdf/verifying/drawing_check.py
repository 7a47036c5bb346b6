"""Follows what the pages of a finished PDF draw, with a second library: colours, fonts and data that may not be there.

Rules of ISO 15930-7:2010 (PDF/X-4; from memory, the standard is not public).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from pypdf import PdfReader
from pypdf.generic import ArrayObject, BooleanObject, ContentStream, DictionaryObject, IndirectObject, StreamObject

from hotfolder.pdf.verifying.faults import Fault, dictionary, resolve

_SCREEN = ("/DeviceRGB", "/CalRGB", "/CalGray", "/Lab", "/ICCBased")
_FONT_FILES = ("/FontFile", "/FontFile2", "/FontFile3")
_END = rb"(?![^\s()<>\[\]{}/%])"
_NAME = rb"/([^\s()<>\[\]{}/%]+)\s+"
_USES = re.compile(_NAME + rb"(cs|CS|Do|gs|sh|scn|SCN)" + _END)
_TEXT = re.compile(rb"(?:" + _NAME + rb"[-+.\d]+\s+Tf|([-+\d]+)\s+Tr|(?<![^\s()<>\[\]{}])(Tj|TJ|'|\"|q|Q))" + _END)
_SCREEN_COLOUR = re.compile(rb"(?:[-+.\d]+\s+){3}(?:rg|RG)" + _END + rb"|/DeviceRGB\s+(?:cs|CS)" + _END)
_ESCAPE = re.compile(rb"#([0-9a-fA-F]{2})")
_CATEGORY = {"cs": "/ColorSpace", "CS": "/ColorSpace", "Do": "/XObject", "gs": "/ExtGState"}
_CATEGORY |= {"sh": "/Shading", "scn": "/Pattern", "SCN": "/Pattern"}
_INVISIBLE = (3,)  # text rendering mode that leaves no trace (32000-1 table 106); 7 clips
_MOST_LEVELS = 40


def drawing_faults(reader: PdfReader, *, rgb_groups: bool = False) -> list[Fault]:
    """What the pages draw with that may not be there, each kind once with the first page it is on.

    `rgb_groups`: a group may blend in RGB with a profile, and hold colours with profiles then.
    """
    return _Drawing(rgb_groups=rgb_groups).faults(reader)


class _Drawing:
    """Follows pages, forms, patterns and glyphs through what their content streams name, each stream once."""

    def __init__(self, *, rgb_groups: bool) -> None:
        self._rgb_groups = rgb_groups
        self._in_rgb = False  # inside such a group
        self._seen: set[tuple[int, int, bool]] = set()
        self._faults: dict[tuple[str, str], Fault] = {}
        self._number = 0

    def faults(self, reader: PdfReader) -> list[Fault]:
        for self._number, page in enumerate(reader.pages, start=1):
            self._group(page, dictionary(page.get("/Resources")))
            contents = page.get("/Contents")
            if contents is not None:
                data = b"\n".join(part.get_data() for part in _streams(contents))
                self._content(data, dictionary(page.get("/Resources")), 0)
        return list(self._faults.values())

    def _add(self, code: str, message: str, what: str = "") -> None:
        self._faults.setdefault((code, what), Fault(code, message, self._number, measured=what or None))

    def _content(self, data: bytes, resources: DictionaryObject, depth: int) -> None:
        if depth > _MOST_LEVELS:
            return
        if not self._takes_rgb(resources) and _SCREEN_COLOUR.search(data) and _really(data):
            self._add("screen_colours", "The finished page still has screen colours.", "DeviceRGB")
        for category, name in _names_used(data):
            found = dictionary(resources.get(category)).get(name)
            if found is not None:
                self._used(category, found, resources, depth)

    def _used(self, category: str, found: object, resources: DictionaryObject, depth: int) -> None:
        if isinstance(found, IndirectObject):
            place = (found.idnum, found.generation, self._in_rgb)
            if place in self._seen:
                return
            self._seen.add(place)
        thing = resolve(found)
        if category == "/ColorSpace":
            self._space(thing, resources)
        elif isinstance(thing, DictionaryObject):
            getattr(self, "_" + category[1:].lower())(thing, resources, depth)

    def _xobject(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        self._stream(thing)
        if thing.get("/Subtype") == "/Image":
            if not resolve(thing.get("/ImageMask")):
                self._space(resolve(thing.get("/ColorSpace")), resources)
        elif thing.get("/Subtype") == "/Form":
            self._form(thing, resources, depth)
        else:
            self._add("postscript", "The finished file still has PostScript code.")

    def _form(self, form: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        own, outside = dictionary(form.get("/Resources")) or resources, self._in_rgb
        group = dictionary(form.get("/Group"))
        if "/CS" in group and group.get("/S") == "/Transparency" and resolve(group.get("/I")) == BooleanObject(True):
            self._in_rgb = self._rgb_groups and _is_profiled_rgb(resolve(group.get("/CS")))
        self._group(form, own)
        if isinstance(form, StreamObject):
            self._content(form.get_data(), own, depth + 1)
        self._in_rgb = outside

    def _pattern(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        if isinstance(thing, StreamObject):
            self._form(thing, resources, depth)
        else:
            self._shading(dictionary(thing.get("/Shading")), resources, depth)

    def _shading(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        self._space(resolve(thing.get("/ColorSpace")), resources)

    def _extgstate(self, thing: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        for key in ("/TR", "/HTP"):
            if key in thing:
                self._add("transfer_curve", "The finished file still changes the press's tone curves.", key)
        mask = resolve(thing.get("/SMask"))
        if isinstance(mask, DictionaryObject) and isinstance(group := resolve(mask.get("/G")), DictionaryObject):
            self._form(group, resources, depth)

    def _font(self, font: DictionaryObject, resources: DictionaryObject, depth: int) -> None:
        if font.get("/Subtype") == "/Type3":
            own = dictionary(font.get("/Resources")) or resources
            for glyph in dictionary(font.get("/CharProcs")).values():
                if isinstance(drawn := resolve(glyph), StreamObject):
                    self._content(drawn.get_data(), own, depth + 1)
            return
        below = resolve(font.get("/DescendantFonts"))
        holder = dictionary(below[0]) if isinstance(below, ArrayObject) and below else font
        descriptor = dictionary(holder.get("/FontDescriptor"))
        if not any(isinstance(resolve(descriptor.get(key)), StreamObject) for key in _FONT_FILES):
            self._add("font_missing", "A font isn't in the finished file.", str(font.get("/BaseFont", "")))

    def _group(self, holder: DictionaryObject, resources: DictionaryObject) -> None:
        group = dictionary(holder.get("/Group"))
        if "/CS" in group:
            self._space(resolve(group.get("/CS")), DictionaryObject() if self._in_rgb else resources)

    def _takes_rgb(self, resources: DictionaryObject) -> bool:
        """Whether plain RGB has a profile here (32000-1 8.6.5.6), in a group that may hold such colours."""
        return self._in_rgb and _is_profiled_rgb(resolve(dictionary(resources.get("/ColorSpace")).get("/DefaultRGB")))

    def _space(self, space: object, resources: DictionaryObject, depth: int = 0) -> None:
        """Nothing but the press's own inks (a CMYK output intent makes DeviceGray and DeviceCMYK its own)."""
        kind = space[0] if isinstance(space, ArrayObject) and space else space
        if self._in_rgb and kind in _SCREEN and (kind != "/DeviceRGB" or self._takes_rgb(resources)):
            return
        if kind in _SCREEN:
            self._add("screen_colours", "The finished page still has screen colours.", str(kind)[1:])
        elif kind in ("/Indexed", "/Pattern") and isinstance(space, ArrayObject) and len(space) > 1 and depth < 8:
            self._space(resolve(space[1]), resources, depth + 1)
        elif (
            kind in ("/Separation", "/DeviceN") and isinstance(space, ArrayObject) and _alternate(space) == "/DeviceRGB"
        ):
            self._add("screen_colours", "A spot ink is described by screen colours.", "DeviceRGB")

    def _stream(self, stream: DictionaryObject) -> None:
        filters = resolve(stream.get("/Filter"))
        if filters == "/LZWDecode" or (isinstance(filters, ArrayObject) and "/LZWDecode" in filters):
            self._add("lzw", "The finished file still packs data with LZW.")
        for key, words in (
            ("/F", "data in another file"),
            ("/OPI", "a stand-in picture"),
            ("/Ref", "another file's page"),
        ):
            if key in stream:
                self._add("outside", f"The finished file still refers to {words}.", key)


def _names_used(data: bytes) -> set[tuple[str, str]]:
    """Category and name of each resource that a content stream draws with; of fonts, those that text is shown in."""
    used = {(_CATEGORY[operator.decode("ascii")], _name(raw)) for raw, operator in _USES.findall(data)}
    font, mode, saved = b"", 0, list[tuple[bytes, int]]()
    for name, number, operator in _TEXT.findall(data):
        if name:
            font = name
        elif number:
            mode = int(number[-1:])
        elif operator == b"q":
            saved.append((font, mode))
        elif operator == b"Q":
            font, mode = saved.pop() if saved else (font, mode)
        elif font and mode not in _INVISIBLE:
            used.add(("/Font", _name(font)))
    return used


def _name(raw: bytes) -> str:
    return "/" + _ESCAPE.sub(lambda found: bytes([int(found[1], 16)]), raw).decode("utf-8", "replace")


def _really(data: bytes) -> bool:
    """Whether a colour operator stands there: the quick look also finds one inside text or picture data."""
    content = ContentStream(None, None)
    content.set_data(data)
    for operands, operator in content.operations:
        if operator in (b"rg", b"RG") or (operator in (b"cs", b"CS") and operands[:1] == ["/DeviceRGB"]):
            return True
    return False


def _is_profiled_rgb(space: object) -> bool:
    if not isinstance(space, ArrayObject) or len(space) < 2 or space[0] not in ("/ICCBased", "/CalRGB"):
        return False
    if space[0] == "/CalRGB":
        return True
    profile = resolve(space[1])
    return isinstance(profile, StreamObject) and profile.get("/N") == 3 and profile.get_data()[16:20] == b"RGB "


def _alternate(space: ArrayObject) -> object:
    return resolve(space[2]) if len(space) > 2 else None


def _streams(contents: object) -> Iterator[StreamObject]:
    found = resolve(contents)
    for part in found if isinstance(found, ArrayObject) else [found]:
        if isinstance(stream := resolve(part), StreamObject):
            yield stream
