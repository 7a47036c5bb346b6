"""What check_fonts says about text: one table of small real PDFs, with a real font embedded where one is."""

from pathlib import Path

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream

import hotfolder
from hotfolder.loading import load_plugins
from hotfolder.testing import codes, make_job, make_pdf, run_steps

NOTO = Path(hotfolder.__file__).parent / "data" / "fonts" / "NotoSans-Regular.ttf"


def fonts(pdf: pikepdf.Pdf) -> Dictionary:
    """/E embedded, /S standard, /C composite without program, /D a drawn one."""
    noto = Stream(pdf, NOTO.read_bytes())
    drawn = Stream(pdf, b"9 0 0 0 9 9 d1 0 0 9 9 re f")
    below = Dictionary(Type=Name.Font, Subtype=Name.CIDFontType2, BaseFont=Name("/ABCDEF+Song"))
    found = Dictionary(
        E=Dictionary(
            Type=Name.Font,
            Subtype=Name.TrueType,
            BaseFont=Name("/NotoSans-Regular"),
            FontDescriptor=Dictionary(FontFile2=noto),
        ),
        S=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name("/Helvetica-Bold")),
        C=Dictionary(Type=Name.Font, Subtype=Name.Type0, BaseFont=Name("/Song"), DescendantFonts=Array([below])),
        D=Dictionary(
            Type=Name.Font,
            Subtype=Name.Type3,
            Name=Name("/Hand"),
            FontBBox=Array([0, 0, 9, 9]),
            FontMatrix=Array([0.1, 0, 0, 0.1, 0, 0]),
            CharProcs=Dictionary(a=drawn),
        ),
    )
    return Dictionary({key: pdf.make_indirect(value) for key, value in found.items()})


# content, settings -> findings as (level code, words, measured)
TABLE = {
    "no text": ("0 0 9 9 re f", {}, []),
    "embedded": ("BT /E 20 Tf 50 50 Td (Jazz night) Tj ET", {}, []),
    "a standard font": (
        "BT /S 20 Tf 50 50 Td (Jazz night) Tj ET",
        {},
        [
            (
                "hold font_not_embedded",
                "The font “Helvetica-Bold” is used on the page, but it isn't in the file",
                "Helvetica-Bold",
            )
        ],
    ),
    "a standard font nobody sees": ("BT 3 Tr /S 20 Tf (Jazz night) Tj ET", {}, []),
    "a standard font that other art is cut to": (
        "q BT 7 Tr /S 20 Tf (Jazz night) Tj ET 0 1 1 0 k 0 0 900 900 re f Q",
        {},
        [("hold font_not_embedded", "The font “Helvetica-Bold” is used on the page", "Helvetica-Bold")],
    ),
    "chosen, then another one": ("BT /S 20 Tf /E 20 Tf 50 50 Td (Jazz) Tj ET", {}, []),
    "composite": ("BT /C 20 Tf <0003> Tj ET", {}, [("hold font_not_embedded", "The font “Song”", "Song")]),
    "not even named": ("BT /X 20 Tf (a) Tj ET", {}, [("hold font_missing", "Text on the page is set in a font", None)]),
    "drawn": ("BT /D 20 Tf (a) Tj ET", {}, [("note font_type3", "The font “Hand” on the page", None)]),
    "small": (
        "BT /E 3.5 Tf 50 50 Td (All rights reserved) Tj /E 4 Tf (no) Tj /E 20 Tf (Jazz) Tj ET",
        {},
        [("note small_text", "The page has text of only 3.5 pt: “All rights reserved”.", "3.5 pt")],
    ),
    "small by scaling": (
        "q .1 0 0 .1 50 50 cm BT /E 40 Tf (fine print) Tj ET Q",
        {},
        [("note small_text", "only 4.0 pt: “fine print”.", "4.0 pt")],
    ),
    "in single letters": (
        "BT /E 3 Tf 50 50 Td (f) Tj (i) Tj (n) Tj (e) Tj ET",
        {},
        [("note small_text", "“fine”", "3.0 pt")],
    ),
    "long": (f"BT /E 3 Tf 50 50 Td ({'x' * 50}) Tj ET", {}, [("note small_text", f"“{'x' * 40}…”", "3.0 pt")]),
    "small, and asked for less": ("BT /E 3.5 Tf 50 50 Td (fine) Tj ET", {"least_text": "3pt"}, []),
    "larger, and asked for more": (
        "BT /E 7 Tf 50 50 Td (fine) Tj ET",
        {"least_text": "8pt"},
        [("note small_text", "7.0 pt", None)],
    ),
    "none asked for": ("BT /E 1 Tf 50 50 Td (fine) Tj ET", {"least_text": "0pt"}, []),
    "small, but in the slug": ("BT /E 3 Tf 3 3 Td (plate) Tj ET", {}, []),
    "small, blanks": ("BT /E 3 Tf 50 50 Td (  ) Tj ET", {}, []),
    "a speck": ("BT /E .01 Tf 50 50 Td (fine) Tj ET", {}, []),
}


def step(**settings):
    kind = load_plugins().steps["check_fonts"]
    return kind(kind.Settings(**settings))


def build(tmp_path, content, pages=1):
    path = make_pdf(tmp_path / "poster.pdf", bleed_mm=3, slug_mm=10, content=content.encode("cp1252"), pages=pages)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        shared = pdf.make_indirect(Dictionary(Font=fonts(pdf)))
        for page in pdf.pages:
            page.obj.Resources = shared
        pdf.save(path)
    return path


@pytest.mark.parametrize(("content", "settings", "expected"), TABLE.values(), ids=TABLE.keys())
def test_findings(tmp_path, content, settings, expected):
    job = make_job(tmp_path, build(tmp_path, content))
    (record,) = run_steps(job, step(**settings))
    assert record.ended == "done", record.trace
    assert codes(job) == [line[0] for line in expected]
    for finding, (_, words, measured) in zip(job.findings, expected, strict=True):
        assert words in finding.message
        assert measured in (None, finding.measured)
        assert finding.page == 1
        assert finding.box
        assert finding.mend
    assert bool(record.told) is not job.held


def test_a_font_on_several_pages_is_said_once(tmp_path):
    job = make_job(tmp_path, build(tmp_path, "BT /S 20 Tf (Jazz) Tj ET", pages=3))
    run_steps(job, step())
    (finding,) = job.findings
    assert "on page 1" in finding.message
    assert finding.message.endswith("The same on pages 2 and 3.")


def test_what_it_tells_when_all_is_well(tmp_path):
    job = make_job(tmp_path, build(tmp_path, "BT /E 20 Tf (Jazz) Tj ET"))
    (record,) = run_steps(job, step())
    assert record.told == ["The font in use is in the file."]
