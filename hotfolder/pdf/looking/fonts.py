"""Says of a font in a PDF what it is called, whether it lies in the file, and what its letters mean and measure."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import islice

from pikepdf import Array, Dictionary

from hotfolder.pdf.looking.font_rights import forbids_embedding
from hotfolder.pdf.looking.font_table import MOST_LETTERS, read_letters
from hotfolder.pdf.looking.letters import Heights, Reach, read_heights
from hotfolder.pdf.objects import entry, name, number, numbers, stream_bytes, whole

_PROGRAMS = ("/FontFile", "/FontFile2", "/FontFile3")  # ISO 32000-1 Table 126
# Type 1 as text and in segments, CFF of version 1, TrueType and OpenType in all their kinds (by their specifications).
_BEGINNINGS = (b"%!", b"\x80\x01", b"\x01", b"\0\1\0\0", b"true", b"typ1", b"OTTO", b"ttcf")
_SUBSET = re.compile(r"[A-Z]{6}\+")  # 9.6.4: six letters before the name of a font of which only a part is embedded
_USUAL_WIDTH = 0.5  # of the size; only boxes drawn in reports depend on it
_MOST_WIDTH = 5.0  # of the size; beyond it a width is damage
_MOST_REACH = 5.0
_PICTURE = re.compile(rb"(?<![^\s])(?:BI|Do)(?![^\s])")  # operators that place a picture (8.9.7, 8.8)
_MOST_DRAWINGS = 20
_TYPE3_BODY = 1.2  # a font's box is about this much higher than its size: ascenders, descenders


@dataclass(frozen=True)
class Font:
    """What one font dictionary says. `kind` as in ISO 32000-1 Table 110, of the descendant for a composite font."""

    name: str
    kind: str
    embedded: bool
    two_bytes: bool = False
    letters: dict[int, str] = field(default_factory=dict, repr=False)
    widths: dict[int, float] = field(default_factory=dict, repr=False)  # in parts of the size
    scale: float | None = 1.0  # what the size is to be multiplied with; None: unknown (Type 3)
    usual_width: float = _USUAL_WIDTH  # of letters whose width isn't given
    heights: Heights = field(default_factory=Heights)
    vertical: bool = False  # its letters stand one below the other (9.7.4.3)
    restricted: bool = False  # its maker doesn't want it inside documents
    pixels: bool = False  # its letters, drawn one by one (Type 3), are pictures
    body: Reach | None = None  # how far every letter may reach, where only that is known (Type 3, symbols)
    _reaches: dict[int, Reach] = field(default_factory=dict, repr=False, compare=False)

    def codes(self, text: bytes) -> list[int]:
        if self.two_bytes:
            return [int.from_bytes(text[at : at + 2]) for at in range(0, len(text) - 1, 2)]
        return list(text)

    def width(self, text: bytes) -> float:
        """How far the text runs, in parts of the size; estimated where the file doesn't say."""
        widths, usual = self.widths, self.usual_width
        return sum([widths.get(code, usual) for code in self.codes(text)])

    def width_of(self, code: int) -> float:
        return self.widths.get(code, self.usual_width)

    def reach(self, text: bytes) -> Reach:
        """How far the text reaches below (negative) and above its line, in parts of the size."""
        if self.body is not None:
            return self.body
        known = self._reaches
        sides = {known.get(code) or self._reach_of(code) for code in set(self.codes(text))}
        return min([low for low, _ in sides], default=0.0), max([high for _, high in sides], default=0.0)

    def _reach_of(self, code: int) -> Reach:
        letter = self.letters.get(code, "")
        self._reaches[code] = found = self.heights.reach(letter) if letter else self.heights.full
        return found

    def words(self, text: bytes) -> str:
        """The text for people, as far as the file tells it; "" where it doesn't."""
        letters = [self.letters.get(code, "") for code in self.codes(text)]
        whole = "".join(letters)
        return whole if whole.isprintable() else "".join(letter for letter in letters if letter.isprintable())


MISSING = Font("", "missing", False)


def read_font(found: object) -> Font:
    """A font from its dictionary; MISSING where there is none. Never raises: what is damaged counts as not there."""
    if not isinstance(found, Dictionary):
        return MISSING
    kind = name(entry(found, "/Subtype"))
    if kind == "Type3":
        title = name(entry(found, "/Name")) or name(entry(entry(found, "/FontDescriptor"), "/FontName"))
        return Font(
            title,
            kind,
            True,
            letters=read_letters(found, False),
            widths=_simple_widths(found, _type3_unit(found)),
            scale=_type3_scale(found),
            body=_type3_body(found),
            pixels=_has_pixels(found),
        )
    holder: object = found
    if kind == "Type0":
        below = entry(found, "/DescendantFonts")
        holder = below[0] if isinstance(below, Array) and len(below) else None
        kind = name(entry(holder, "/Subtype")) or "Type0"
    two_bytes, program = holder is not found, _program(holder)
    title = name(entry(holder, "/BaseFont")) or name(entry(found, "/BaseFont"))
    return Font(
        _SUBSET.sub("", title),
        kind,
        program is not None,
        two_bytes,
        read_letters(found, two_bytes),
        _composite_widths(entry(holder, "/W")) if two_bytes else _simple_widths(found),
        usual_width=_within_reason(number(entry(holder, "/DW"), 1000.0) / 1000) if two_bytes else _USUAL_WIDTH,
        heights=read_heights(holder),
        vertical=two_bytes and _is_vertical(entry(found, "/Encoding")),
        body=None if two_bytes else _symbols_body(found),
        restricted=program is not None and forbids_embedding(program),
    )


def _is_vertical(encoding: object) -> bool:
    """By the table's name (9.7.5.2), or its own word where it lies in the file."""
    return name(encoding).endswith("-V") or whole(entry(encoding, "/WMode"), 0) == 1


def is_embedded(holder: object) -> bool:
    """Whether a simple font or a descendant has its font program in the file; one that begins as none does, doesn't count."""
    return _program(holder) is not None


def _program(holder: object) -> bytes | None:
    descriptor = entry(holder, "/FontDescriptor")
    for key in _PROGRAMS:
        try:
            program = stream_bytes(entry(descriptor, key))
        except ValueError:
            continue
        if program[:4].startswith(_BEGINNINGS):
            return program
    return None


def _type3_scale(found: Dictionary) -> float | None:
    """The letters' height at size 1: their box through the font matrix (9.6.5); None where no box is given."""
    try:
        box, matrix = numbers(entry(found, "/FontBBox"), 4), numbers(entry(found, "/FontMatrix"), 6)
    except ValueError:
        return None
    height = abs(box[3] - box[1]) * abs(matrix[3])
    return height / _TYPE3_BODY if height > 0 else None


def _has_pixels(found: Dictionary) -> bool:
    """Whether letters are drawn as pictures, going by the first of them; a form in them counts, since it may hold one."""
    drawings = entry(found, "/CharProcs")
    for key in islice(drawings.keys() if isinstance(drawings, Dictionary) else (), _MOST_DRAWINGS):
        try:
            if _PICTURE.search(stream_bytes(entry(drawings, key))):
                return True
        except ValueError:
            continue
    return False


def _type3_unit(found: Dictionary) -> float:
    """What one unit of the glyphs' space is of the size (9.6.5)."""
    try:
        return abs(numbers(entry(found, "/FontMatrix"), 6)[0])
    except ValueError:
        return 0.001


def _symbols_body(found: Dictionary) -> Reach | None:
    """How far the signs of a font without letters reach, such as the large brackets of mathematics: by its box (9.8.1)."""
    descriptor = entry(found, "/FontDescriptor")
    symbolic = whole(entry(descriptor, "/Flags"), 0) & 4  # table 123
    if not symbolic or "/ToUnicode" in found or "/Encoding" in found:
        return None
    try:
        _, low, _, high = (side / 1000 for side in numbers(entry(descriptor, "/FontBBox"), 4))
    except ValueError:
        return None
    return (low, high) if low < high and max(-low, high) <= _MOST_REACH else None


def _type3_body(found: Dictionary) -> Reach | None:
    try:
        box, matrix = numbers(entry(found, "/FontBBox"), 4), numbers(entry(found, "/FontMatrix"), 6)
    except ValueError:
        return None
    low, high = sorted((box[1] * matrix[3], box[3] * matrix[3]))
    return (low, high) if low < high and max(-low, high) <= _MOST_REACH else None


# ---- widths


def _within_reason(width: float) -> float:
    return min(max(width, -_MOST_WIDTH), _MOST_WIDTH)


def _simple_widths(found: Dictionary, unit: float = 0.001) -> dict[int, float]:
    first, widths = whole(entry(found, "/FirstChar"), 0), entry(found, "/Widths")
    if not isinstance(widths, Array) or not 0 <= first <= 255:
        return {}
    return {first + at: _within_reason(number(item, 0.0) * unit) for at, item in zip(range(256), widths, strict=False)}


def _composite_widths(found: object) -> dict[int, float]:
    """9.7.4.3: `first [w1 w2 ...]` or `first last w`, for the codes of Identity-H."""
    items, widths, at = list(found) if isinstance(found, Array) else [], dict[int, float](), 0
    left = MOST_LETTERS
    while at + 1 < len(items) and left > 0:
        first, second = whole(items[at], 0), items[at + 1]
        if isinstance(second, Array):
            widths |= {first + step: _within_reason(number(item, 0.0) / 1000) for step, item in enumerate(second)}
            at += 2
        elif at + 2 < len(items):
            last = min(whole(second, 0), first + left)
            left -= max(last - first, 0)
            widths |= dict.fromkeys(range(first, last + 1), _within_reason(number(items[at + 2], 0.0) / 1000))
            at += 3
        else:
            break
    return widths
