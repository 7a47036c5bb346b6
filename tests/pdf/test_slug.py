"""The line of text beside the poster: fits, is embedded, can be read back, and survives any text."""

from __future__ import annotations

import io

import pdfminer.high_level
import pikepdf
import pypdf
import pytest
from fontTools.ttLib import TTFont
from pikepdf import Dictionary

from hotfolder.pdf.finishing.slug import ELLIPSIS, LARGEST_SIZE, MISSING, SMALLEST_SIZE, embed_font, fit_line, show_line

ROOM = 400.0

# what is asked for -> what is set
TEXTS = {
    "plain": ("Quay Market - Jazz Night - A1", "Quay Market - Jazz Night - A1"),
    "accents, Greek, Cyrillic": ("Žluťoučký Ωμέγα Привет", "Žluťoučký Ωμέγα Привет"),
    "typographer's signs": ("24 × 36 in · “north” — 50 %", "24 × 36 in · “north” — 50 %"),
    "line ends and tabs": ("one\r\ntwo\tthree\x00four\x1b[31m", "one two three four [31m"),
    "decomposed letters": ("Zu\u0308rich", "Zürich"),
    "invisible characters": ("a\u200bb\u202ec\ufeffd", "abcd"),
    "Hebrew and emoji": ("שלום 🎷", f"{MISSING * 4} {MISSING}"),
    "lone surrogate": ("a\udcffb", "a?b"),
    "blanks": ("   ", ""),
    "nothing": ("", ""),
    "PDF's own signs": (r"(\) <> [] {} % /Name", r"(\) <> [] {} % /Name"),
}


@pytest.mark.parametrize("name", TEXTS)
def test_text_that_fits(name: str) -> None:
    given, expected = TEXTS[name]
    line = fit_line(given, ROOM)
    assert line.text == expected
    assert line.size == LARGEST_SIZE
    assert line.width <= ROOM


@pytest.mark.parametrize("length", [115, 140, 5000, 200_000])
def test_long_text_shrinks_and_is_cut(length: int) -> None:
    line = fit_line("x" * length, ROOM)
    assert line.width <= ROOM
    assert line.size < LARGEST_SIZE
    assert (line.text == "x" * length) == (length < 141)
    assert line.text.endswith("x" if length < 141 else "x" + ELLIPSIS)
    assert line.size == SMALLEST_SIZE or length == 115


@pytest.mark.parametrize("room", [0.0, 1.0, 5.0, 12.0])
def test_hardly_any_room(room: float) -> None:
    assert fit_line("poster", room).width <= room


def sheet_with(text: str) -> bytes:
    pdf, line = pikepdf.new(), fit_line(text, 500)
    page = pdf.add_blank_page(page_size=(600, 100))
    page.obj.Resources = Dictionary(Font=Dictionary(S=embed_font(pdf, line.text)))
    page.obj.Contents = pdf.make_stream(b"BT /S 7 Tf 20 40 Td " + show_line(line) + b" ET")
    out = io.BytesIO()
    pdf.save(out)
    return out.getvalue()


@pytest.mark.parametrize("text", ["Jazz Night 24 × 36 in", "Žluťoučký Ωμέγα Привет (1) \\ <x>"])
def test_two_other_readers_find_the_text(text: str) -> None:
    """pypdf and pdfminer.six read it back through the ToUnicode map (ISO 32000-1 9.10.3)."""
    data = sheet_with(text)
    assert pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text().strip() == text
    assert pdfminer.high_level.extract_text(io.BytesIO(data)).strip() == text


def test_the_font_is_a_named_subset_with_agreeing_widths() -> None:
    """ISO 32000-1 9.6.4 (subset names), 9.7.4.3 (widths), 9.9 (embedding); widths read from the embedded font itself."""
    with pikepdf.open(io.BytesIO(sheet_with("Waves 2026"))) as pdf:
        font = pdf.pages[0].obj.Resources.Font.S
        below = font.DescendantFonts[0]
        assert str(font.BaseFont)[1:7].isupper()
        assert str(font.BaseFont)[7] == "+"
        assert font.BaseFont == below.BaseFont == below.FontDescriptor.FontName
        data = below.FontDescriptor.FontFile2.read_bytes()
        assert below.FontDescriptor.FontFile2.Length1 == len(data)
        inside = TTFont(io.BytesIO(data))
        order, widths = inside.getGlyphOrder(), list(below.W)
        for glyph, width in zip(widths[::2], widths[1::2], strict=True):
            assert int(width[0]) == inside["hmtx"][order[int(glyph)]][0]
        assert len(data) < 12_000
        assert "SIL Open Font License" in inside["name"].getDebugName(13)


def test_the_same_line_gives_the_same_font() -> None:
    def embedded() -> bytes:
        pdf = pikepdf.new()
        return bytes(embed_font(pdf, "abc").DescendantFonts[0].FontDescriptor.FontFile2.read_bytes())

    assert embedded() == embedded()
