"""Which fonts a PDF shows text in, whether they lie in the file, how large the text comes out: ISO 32000-1 9.2 to 9.10."""

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Object, Stream

from hotfolder.pdf.looking.fonts import MISSING, read_font
from hotfolder.pdf.looking.text import find_text
from hotfolder.pdf.looking.text_watch import TextWatch
from hotfolder.pdf.walk.walker import walk


def parse(text: str) -> Object:
    return Object.parse(text.encode("latin-1"))


def with_program(pdf: pikepdf.Pdf, text: str, key: str, data: bytes = b"%!PS-AdobeFont-1.0: Art") -> Object:
    font = parse(text)
    holder = font.DescendantFonts[0] if "/DescendantFonts" in font else font
    holder.FontDescriptor = Dictionary()
    holder.FontDescriptor[key] = Stream(pdf, data)
    return font


# a font, under which key its program lies -> name, kind, embedded
FONTS = {
    "a standard font": ("<< /Subtype /Type1 /BaseFont /Helvetica >>", "", ("Helvetica", "Type1", False)),
    "Type 1": ("<< /Subtype /Type1 /BaseFont /Art >>", "/FontFile", ("Art", "Type1", True)),
    "TrueType": ("<< /Subtype /TrueType /BaseFont /Art >>", "/FontFile2", ("Art", "TrueType", True)),
    "compact": ("<< /Subtype /Type1 /BaseFont /Art >>", "/FontFile3", ("Art", "Type1", True)),
    "a part of it": ("<< /Subtype /Type1 /BaseFont /ABCDEF+Art >>", "/FontFile3", ("Art", "Type1", True)),
    "composite": (
        "<< /Subtype /Type0 /BaseFont /Art-H /DescendantFonts [ << /Subtype /CIDFontType2 /BaseFont /Art >> ] >>",
        "/FontFile2",
        ("Art", "CIDFontType2", True),
    ),
    "composite, its program elsewhere": (
        "<< /Subtype /Type0 /BaseFont /Art-H /DescendantFonts [ << /Subtype /CIDFontType0 >> ] >>",
        "",
        ("Art-H", "CIDFontType0", False),
    ),
    "composite without descendant": (
        "<< /Subtype /Type0 /BaseFont /Art /DescendantFonts [] >>",
        "",
        ("Art", "Type0", False),
    ),
    "drawn letters": ("<< /Subtype /Type3 /Name /Hand >>", "", ("Hand", "Type3", True)),
    "a program that is no stream": (
        "<< /Subtype /Type1 /BaseFont /Art /FontDescriptor << /FontFile 7 >> >>",
        "",
        ("Art", "Type1", False),
    ),
    "a descriptor that is none": (
        "<< /Subtype /Type1 /BaseFont /Art /FontDescriptor /x >>",
        "",
        ("Art", "Type1", False),
    ),
    "nothing in it": ("<< >>", "", ("", "", False)),
    "nonsense": (
        "<< /Subtype 4 /BaseFont [] /Widths [/a] /FirstChar (x) /ToUnicode 3 /DescendantFonts 5 >>",
        "",
        ("", "", False),
    ),
}


@pytest.mark.parametrize(("text", "key", "expected"), FONTS.values(), ids=FONTS.keys())
def test_a_font(text, key, expected):
    pdf = pikepdf.new()
    font = read_font(with_program(pdf, text, key) if key else parse(text))
    assert (font.name, font.kind, font.embedded) == expected


# How a font program begins: Type 1 Font Format 2.1 and Technical Note 5040, 5176 (CFF), OpenType 1.9 "Organization".
@pytest.mark.parametrize(
    ("data", "embedded"),
    [
        (b"%!FontType1-1.0: Art", True), (b"\x80\x01\0\0\0\0%!", True), (b"\x01\0\x04\x02", True),
        (b"\0\x01\0\0\0\x0c", True), (b"true\0\x0c", True), (b"OTTO\0\x0c", True), (b"ttcf\0\x01", True),
        (b"", False), (b"no font", False), (b"<html>", False), (b"\0\0\0\0\0\0", False),
    ],
)  # fmt: skip
def test_a_program_that_is_none_does_not_count(data, embedded):
    pdf = pikepdf.new()
    font = read_font(with_program(pdf, "<< /Subtype /Type1 /BaseFont /Art >>", "/FontFile", data))
    assert font.embedded is embedded


def test_no_font_at_all():
    assert read_font(None) is MISSING
    assert read_font(Array([1])) is MISSING


def test_letters_by_the_fonts_own_table():
    """The two forms of 9.10.3: single codes, ranges with a start or a list."""
    pdf = pikepdf.new()
    font = parse(
        "<< /Subtype /Type0 /DescendantFonts [ << /Subtype /CIDFontType2 /W [ 3 [ 250 500 ] 10 12 1000 ] >> ] >>"
    )
    table = b"2 beginbfchar <0003> <0050> <0004> <00660066> endbfchar "
    table += b"2 beginbfrange <0010> <0012> <0061> <0020> <0021> [<0058> <0059>] endbfrange"
    font.ToUnicode = Stream(pdf, table)
    found = read_font(font)
    assert found.words(bytes.fromhex("0003 0004 0010 0011 0012 0020 0021 7777")) == "PffabcXY"
    assert found.width(bytes.fromhex("0003 0004 000B 7777")) == pytest.approx(0.25 + 0.5 + 1 + 1)  # DW is 1000


def test_ranges_without_end_are_cut():
    pdf = pikepdf.new()
    font = parse("<< /Subtype /Type1 /BaseFont /Art >>")
    font.ToUnicode = Stream(pdf, b"beginbfrange " + b"<00> <FFFFFFFF> <0041> " * 999 + b" endbfrange")
    assert len(read_font(font).letters) == 70_000
    composite = parse("<< /Subtype /Type0 /DescendantFonts [ << /Subtype /CIDFontType2 >> ] >>")
    composite.DescendantFonts[0].W = Array([0, 999_999_999, 500] * 999)
    assert len(read_font(composite).widths) == 70_001


HELVETICA = "<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica /FirstChar 65 /Widths [ 1000 500 ] >>"

# content, entries of the page -> sizes in points on paper
SIZES = {
    "as said": ("BT /F 9 Tf (A) Tj ET", "", [9]),
    "by the text matrix": ("BT /F 1 Tf 7 0 0 8 0 0 Tm (A) Tj ET", "", [8]),
    "turned": ("BT /F 10 Tf 0 1 -1 0 0 0 Tm (A) Tj ET", "", [10]),
    "mirrored": ("BT /F -10 Tf 1 0 0 -1 0 0 Tm (A) Tj ET", "", [10]),
    "scaled all around": ("q .5 0 0 .25 0 0 cm BT /F 12 Tf (A) Tj ET Q", "", [3]),
    "after q and Q the size is the old one": ("/F 9 Tf q 2 0 0 2 0 0 cm BT (A) Tj ET Q BT (A) Tj ET", "", [18, 9]),
    "user units": ("BT /F 2 Tf (A) Tj ET", "/UserUnit 10", [20]),
    "all four ways to show": ("BT /F 9 Tf (A) Tj [(A) -50 (B)] TJ (A) ' 1 2 (A) \" ET", "", [9, 9, 9, 9]),
    "invisible, clipping, stroked (Table 106)": ("BT 3 Tr /F 9 Tf (A) Tj 7 Tr (A) Tj 2 Tr (A) Tj ET", "", [9, 9]),
    "invisible until Q": ("q 3 Tr BT /F 9 Tf (A) Tj ET Q BT /F 8 Tf (A) Tj ET", "", [8]),
    "empty": ("BT /F 9 Tf () Tj [ -20 ] TJ [] TJ ET", "", []),
    "in a form": ("q .5 0 0 .5 0 0 cm /Fm Do Q /Fm Do", "", [5, 10]),
    "in a pattern": ("/Pattern cs /P scn 0 0 9 9 re f", "", [20]),
    "numbers missing": ("BT /F 9 Tf Tm Td (A) Tj ET", "", [9]),
    "nonsense": ("BT /F /x Tf (A Tj ET", "", []),
}


def page_with(content: str, entries: str = "") -> pikepdf.Pdf:
    pdf = pikepdf.new()
    page = pdf.add_blank_page(page_size=(300, 400)).obj
    font = pdf.make_indirect(parse(HELVETICA))
    form = Stream(pdf, b"BT /F 10 Tf (A) Tj ET", parse("<< /Subtype /Form /BBox [0 0 99 99] >>"))
    form.Resources = Dictionary(Font=Dictionary(F=font))
    pattern = Stream(pdf, b"BT /F 10 Tf (A) Tj ET")
    for key, value in parse(
        "<< /PatternType 1 /PaintType 1 /TilingType 1 /BBox [0 0 9 9] /XStep 9 /YStep 9 /Matrix [2 0 0 2 0 0] >>"
    ).items():
        pattern[key] = value
    pattern.Resources = Dictionary(Font=Dictionary(F=font))
    page.Resources = Dictionary(Font=Dictionary(F=font), XObject=Dictionary(Fm=form), Pattern=Dictionary(P=pattern))
    page.Contents = Stream(pdf, content.encode("latin-1"))
    for key, value in parse(f"<< {entries} >>").items():
        page[key] = value
    return pdf


class Pieces(TextWatch):
    """Every piece of visible text: its size in units of the page's space, its box, its words."""

    def __init__(self):
        super().__init__()
        self.found = []

    def letters_shown(self, frame, font, size, box, text):
        self.found.append((size, box, font.words(text)))


def pieces(pdf):
    watch, page = Pieces(), pdf.pages[0].obj
    walk(pdf, watch)
    unit = float(page.get("/UserUnit", 1))
    return [(size * unit, box, words) for size, box, words in watch.found]


def test_invisible_text_is_gathered():
    hidden = find_text(page_with("BT 3 Tr /F 9 Tf 50 50 Td (AB) Tj 0 20 Td (A) Tj 0 Tr (B) Tj ET")).hidden
    assert {page: (one.letters, one.words) for page, one in hidden.items()} == {1: (3, " AB A")}
    assert hidden[1].box.left == 50
    assert hidden[1].box.top > 70


@pytest.mark.parametrize(("content", "entries", "expected"), SIZES.values(), ids=SIZES.keys())
def test_sizes_on_paper(content, entries, expected):
    assert [size for size, _, _ in pieces(page_with(content, entries))] == pytest.approx(expected)


def test_where_text_stands():
    """A letter of width 1 at size 10, then one of 0.5: the box of the second begins where the first ends."""
    found = pieces(page_with("BT /F 10 Tf 100 200 Td (A) Tj (B) Tj 0 -20 Td (A) Tj ET"))
    assert [box[:2] for _, box, _ in found] == [(100, 199.8), (110, 199.8), (100, 179.8)]
    assert found[1][1] == pytest.approx((110, 199.8, 115, 207.4))
    assert [words for _, _, words in found] == ["A", "B", "A"]


def test_a_font_listed_but_not_used_is_not_shown():
    assert find_text(page_with("0 0 9 9 re f")).shown == []
    assert find_text(page_with("BT /F 9 Tf ET")).shown == []
    assert [shown.font.name for shown in find_text(page_with("BT /F 9 Tf (A) Tj ET")).shown] == ["Helvetica"]


def test_a_font_that_is_not_there():
    (shown,) = find_text(page_with("BT /Nowhere 9 Tf (A) Tj ET")).shown
    assert shown.font is MISSING


def test_text_of_comments_counts_where_they_print():
    pdf = page_with("")
    look = Stream(pdf, b"BT /F 9 Tf (A) Tj ET", parse("<< /Subtype /Form /BBox [0 0 9 9] >>"))
    look.Resources = pdf.pages[0].obj.Resources
    note = parse("<< /Subtype /Stamp /Rect [0 0 9 9] >>")
    note.AP = Dictionary(N=look)
    pdf.pages[0].obj.Annots = Array([note])
    assert find_text(pdf).shown == []
    note.F = 4
    assert len(find_text(pdf).shown) == 1


def test_a_type_3_font_is_as_high_as_its_letters():
    pdf = page_with("BT /T 20 Tf (a) Tj ET")
    font = parse("<< /Subtype /Type3 /FontBBox [0 0 12 12] /FontMatrix [.05 0 0 .05 0 0] /FirstChar 97 /LastChar 97 >>")
    font.CharProcs = Dictionary(a=Stream(pdf, b"9 0 0 0 9 9 d1 0 0 9 9 re f"))
    font.Encoding = parse("<< /Differences [97 /a] >>")
    pdf.pages[0].obj.Resources.Font.T = pdf.make_indirect(font)
    assert read_font(font).scale == pytest.approx(12 * 0.05 / 1.2)
    font.FontBBox = Array([0, 0, 0, 0])  # allowed, and says nothing (Table 112)
    assert read_font(font).scale is None


# /Encoding of a simple font without a table -> what the bytes 1, 65, 138 and 228 say
ENCODINGS = {
    "": "AŠä",
    "/Encoding /WinAnsiEncoding": "AŠä",
    "/Encoding /MacRomanEncoding": "Aä‰",
    "/Encoding << /Differences [1 /uni0416 65 /fi 228 /g17] >>": "ЖfiŠ",
    "/Encoding << /BaseEncoding /MacRomanEncoding /Differences [1 /Eacute /B] >>": "ÉAä‰",
    "/Encoding << /Differences [300 /A (b) -7 /B 1000000000 /C] >>": "AŠä",
}


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_letters_by_the_encoding(encoding):
    found = read_font(parse(f"<< /Subtype /Type1 /BaseFont /X {encoding} >>"))
    assert found.words(bytes([1, 65, 138, 228])) == ENCODINGS[encoding]


@pytest.mark.parametrize(
    "before",
    [
        "(A) Tj (BB) Tj",
        "(A) Tj (B) Tj " * 120,
        "(A) Tj 3 Tc 50 Tz 2 Ts (AB) Tj 0 Tc 100 Tz 0 Ts /F 4 Tf [(A) -700 (B)] TJ /F 9 Tf",
        "(A) Tj 0 -12 Td (AB) Tj (A) Tj",
        "(A) Tj (AAAA) Tj ET BT (A) Tj",
        "(A) Tj q 2 0 0 2 0 0 cm (A) Tj Q (B) Tj",
        "(A) Tj 12 TL T* (AAA) Tj (A) ' 1 1 (B) \"",
    ],
)
def test_text_in_a_further_font_stands_behind_that_passed_over(before):
    """The place of a font's first text, against the place that follows from every text before it."""
    pdf = page_with(f"BT /F 9 Tf 50 50 Td {before} /Missing 9 Tf (C) Tj ET")
    expected = pieces(pdf)[-1][1]
    (shown,) = [shown for shown in find_text(pdf).shown if shown.font.name != "Helvetica"]
    assert tuple(shown.box) == pytest.approx(tuple(expected))


@pytest.mark.parametrize(
    ("plain", "escaped"),
    [
        ("(AB) Tj", "(A\\102) Tj"),
        ("[(A) -20 (B) .5 (A)] TJ", "[(A) -20 <42> 0.5(\\101)] TJ"),
        ("[ ] TJ () Tj", "[<>] TJ"),
    ],
)
def test_text_written_plainly_is_read_as_any_other(plain, escaped):
    one, other = (pieces(page_with(f"BT /F 9 Tf 50 50 Td {text} ET")) for text in (plain, escaped))
    assert one == other
