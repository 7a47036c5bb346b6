"""Sets one line of text beside the poster (what it is, for whom, from when) in a font that travels inside the PDF."""

from __future__ import annotations

import hashlib
import io
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from pathlib import Path

import pikepdf
from fontTools import subset
from fontTools.ttLib import TTFont
from pikepdf import Array, Dictionary, Name, Stream, String

FONT = Path(__file__).parents[2] / "data" / "fonts" / "NotoSans-Regular.ttf"
FONT_NAME = "NotoSans-Regular"
LARGEST_SIZE, SMALLEST_SIZE = 7.0, 5.0  # points; smaller is not read from a press sheet (common practice)
MOST_CHARACTERS = 2000  # far more than fits any sheet at the smallest size; the rest is cut before it costs time
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
MISSING = "\N{REPLACEMENT CHARACTER}"
_HEX_AT_ONCE = 100
_DIGITS = "0123456789"  # in every subset, so that the lines of page 1 and page 2 share one


@dataclass(frozen=True)
class Line:
    """A line that fits: its characters, all of which the font has, its size and its width in points."""

    text: str
    size: float
    width: float


def fit_line(text: str, room: float) -> Line:
    """The text on one line no wider than `room` points: set smaller, and then cut with an ellipsis, where it must.

    Line ends and tabs become blanks, invisible characters go, what the font lacks shows as a replacement character.
    The text is not shaped: scripts that the font lacks, and right-to-left order, are beyond it.
    """
    clean = _clean(text)
    widths = _font().widths(clean)
    for size in (LARGEST_SIZE, LARGEST_SIZE - 1, SMALLEST_SIZE):
        width = sum(widths) * size
        if width <= room:
            return Line(clean, size, width)
    return _cut_line(clean, widths, room)


def _cut_line(text: str, widths: list[float], room: float) -> Line:
    """As much of the text as fits at the smallest size, and an ellipsis; nothing where not even one character does."""
    left = room / SMALLEST_SIZE - _font().widths(ELLIPSIS)[0]
    kept = sum(1 for total in accumulate(widths) if total <= left)
    short = text[:kept].rstrip() + ELLIPSIS if kept else ""
    return Line(short, SMALLEST_SIZE, sum(_font().widths(short)) * SMALLEST_SIZE)


def show_line(line: Line) -> bytes:
    """The operand and operator that show the line's text with the font of `embed_font` (two bytes a glyph)."""
    glyphs = "".join(f"{_font().glyphs[char]:04x}" for char in line.text)
    return f"<{glyphs}> Tj".encode("ascii")


def embed_font(pdf: pikepdf.Pdf, text: str) -> Dictionary:
    """The font as a Type 0 font of ISO 32000-1 9.7, holding just the characters of `text`, with their meaning.

    The glyphs keep their numbers, so that lines set before and after share them.
    """
    font, used = _font(), tuple(sorted({*text, *_DIGITS}))
    data = _subset(used)
    # 9.6.4: a subset's name begins with six letters that tell it from other subsets of the font.
    tag = "".join(chr(65 + byte % 26) for byte in hashlib.sha256("".join(used).encode()).digest()[:6])
    name = Name(f"/{tag}+{FONT_NAME}")
    descriptor = Dictionary(
        Type=Name.FontDescriptor,
        FontName=name,
        Flags=32,  # nonsymbolic
        FontBBox=Array([font.per_mille(side) for side in font.bounds]),
        ItalicAngle=0,
        Ascent=font.per_mille(font.ascent),
        Descent=font.per_mille(font.descent),
        CapHeight=font.per_mille(font.cap_height),
        StemV=80,
        FontFile2=pdf.make_indirect(Stream(pdf, data, Length1=len(data))),
    )
    glyph_widths = Array()
    for char in used:
        glyph_widths.extend([font.glyphs[char], Array([round(font.widths(char)[0] * 1000)])])
    descendant = Dictionary(
        Type=Name.Font,
        Subtype=Name.CIDFontType2,
        BaseFont=name,
        CIDSystemInfo=Dictionary(Registry=String("Adobe"), Ordering=String("Identity"), Supplement=0),
        FontDescriptor=pdf.make_indirect(descriptor),
        DW=1000,
        W=glyph_widths,
        CIDToGIDMap=Name.Identity,
    )
    whole = Dictionary(
        Type=Name.Font,
        Subtype=Name.Type0,
        BaseFont=name,
        Encoding=Name("/Identity-H"),
        DescendantFonts=Array([pdf.make_indirect(descendant)]),
        ToUnicode=pdf.make_indirect(Stream(pdf, _to_unicode(used))),
    )
    made: Dictionary = pdf.make_indirect(whole)
    return made


def _clean(text: str) -> str:
    """One line of characters that the font has."""
    text = text[: MOST_CHARACTERS * 2].encode("utf-8", "replace").decode("utf-8")
    text = unicodedata.normalize("NFC", text)
    spaced = "".join(" " if unicodedata.category(char) in ("Cc", "Zs", "Zl", "Zp") else char for char in text)
    shown = (char for char in spaced if unicodedata.category(char) not in ("Cf", "Mn", "Me"))
    line = " ".join("".join(shown).split())[:MOST_CHARACTERS]
    glyphs = _font().glyphs
    return "".join(char if char in glyphs else MISSING for char in line)


class _Font:
    """What is read from the font file once."""

    def __init__(self) -> None:
        with TTFont(FONT, lazy=True) as font:
            order, cmap = font.getReverseGlyphMap(), font.getBestCmap()
            self.units = font["head"].unitsPerEm
            self.glyphs = {chr(code): order[name] for code, name in cmap.items()}
            self._advances = {chr(code): font["hmtx"][name][0] / self.units for code, name in cmap.items()}
            head, os2 = font["head"], font["OS/2"]
            self.bounds = (head.xMin, head.yMin, head.xMax, head.yMax)
            self.ascent, self.descent = font["hhea"].ascent, font["hhea"].descent
            self.cap_height = os2.sCapHeight

    def widths(self, text: str) -> list[float]:
        """Advance of each character in ems."""
        return [self._advances[char] for char in text]

    def per_mille(self, length: float) -> int:
        """A length of the font in thousandths of an em, as PDF wants it (9.2.4)."""
        mille: int = round(length * 1000 / self.units)
        return mille


@lru_cache(maxsize=1)
def _font() -> _Font:
    return _Font()


@lru_cache(maxsize=8)
def _subset(used: tuple[str, ...]) -> bytes:
    options = subset.Options()
    options.retain_gids = True  # a line's glyph numbers hold whatever else the sheet says
    options.notdef_outline = True
    options.hinting = False
    options.name_IDs = [0, 13, 14]  # the notice that the licence wants kept: copyright, licence, its address
    options.drop_tables += ["DSIG", "gasp"]
    options.recalc_timestamp = False
    worker = subset.Subsetter(options)
    worker.populate(text="".join(used))
    out = io.BytesIO()
    with TTFont(FONT, recalcTimestamp=False) as font:
        for table in ("GDEF", "GPOS", "GSUB"):  # of no use without shaping, and slow to read
            del font[table]
        worker.subset(font)
        font.save(out)
    return out.getvalue()


def _to_unicode(used: tuple[str, ...]) -> bytes:
    """The map from glyph numbers back to characters (9.10.3), so that the line can be searched and copied."""
    rows = [f"<{_font().glyphs[char]:04x}> <{char.encode('utf-16-be').hex()}>" for char in used]
    groups = [rows[start : start + _HEX_AT_ONCE] for start in range(0, len(rows), _HEX_AT_ONCE)]
    maps = "".join(f"{len(group)} beginbfchar\n" + "\n".join(group) + "\nendbfchar\n" for group in groups)
    return (
        "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
        "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
        "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
        "1 begincodespacerange\n<0000> <ffff>\nendcodespacerange\n"
        f"{maps}endcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n"
    ).encode("ascii")
