"""What check_fonts says about text: one table of small real PDFs, with a real font embedded where one is."""

from io import BytesIO
from pathlib import Path

import pikepdf
import pytest
from fontTools.ttLib import TTFont
from pikepdf import Array, Dictionary, Name, Stream

import hotfolder
from hotfolder.loading import load_plugins
from hotfolder.pdf.looking.font_rights import forbids_embedding
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
    told = Dictionary(
        Type=Name.Font,
        Subtype=Name.Type0,
        BaseFont=Name("/Signs"),
        DescendantFonts=Array(
            [
                Dictionary(
                    Type=Name.Font,
                    Subtype=Name.CIDFontType2,
                    BaseFont=Name("/Signs"),
                    FontDescriptor=Dictionary(FontFile2=noto),
                )
            ]
        ),
    )
    found.U = told
    pixels = b"9 0 0 0 9 9 d1 q 9 0 0 9 0 0 cm BI /W 8 /H 1 /IM true ID x EI Q"
    found.P = Dictionary(
        dict(found.D.items()) | {"/Name": Name("/Dots"), "/CharProcs": Dictionary(a=Stream(pdf, pixels))}
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
    "a standard font nobody sees": (
        "BT 3 Tr /S 20 Tf 50 50 Td (Jazz night) Tj ET",
        {},
        [("note invisible_text", "The page holds invisible text (“Jazz night”)", "10 letters")],
    ),
    "blanks nobody sees": ("BT 3 Tr /E 20 Tf 50 50 Td (        ) Tj ET", {}, []),
    "a small full stop": ("BT /E 3 Tf 50 50 Td (...) Tj ET", {}, []),
    "letters that nobody can tell": ("BT /U 20 Tf 50 50 Td <0003> Tj ET", {}, []),
    "small, but clipped away": ("q 0 0 9 9 re W n BT /E 3 Tf 50 50 Td (fine) Tj ET Q", {}, []),
    "small, but see-through": ("/Clear gs BT /E 3 Tf 50 50 Td (fine) Tj ET", {}, []),
    "a standard font that other art is cut to": (
        "q BT 7 Tr /S 20 Tf (Jazz night) Tj ET 0 1 1 0 k 0 0 900 900 re f Q",
        {},
        [("hold font_not_embedded", "The font “Helvetica-Bold” is used on the page", "Helvetica-Bold")],
    ),
    "chosen, then another one": ("BT /S 20 Tf /E 20 Tf 50 50 Td (Jazz) Tj ET", {}, []),
    "composite": ("BT /C 20 Tf <0003> Tj ET", {}, [("hold font_not_embedded", "The font “Song”", "Song")]),
    "not even named": ("BT /X 20 Tf (a) Tj ET", {}, [("hold font_missing", "Text on the page is set in a font", None)]),
    "drawn with outlines": ("BT /D 20 Tf (a) Tj ET", {}, []),
    "made of pixels": (
        "BT /P 20 Tf (a) Tj ET",
        {},
        [("note font_type3", "The letters of the font “Dots” on the page", None)],
    ),
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


# From 2 m: letters of 2.91 mm (8.25 pt): capitals of 11.5 pt, small letters of 15.9 pt, with the usual heights.
AFAR = {
    "all of it": ("BT /E 17 Tf 50 50 Td (Jazz night) Tj ET", []),
    "capitals": ("BT /E 11.6 Tf 50 50 Td (JAZZ NIGHT) Tj ET", []),
    "small letters of that size": (
        "BT /E 11.6 Tf 50 50 Td (Jazz night) Tj ET",
        [("type_too_small", "not even the largest text on the page can be made out: “Jazz night”.")],
    ),
    "an imprint": ("BT /E 90 Tf 50 50 Td (Jazz night) Tj /E 6 Tf (made by) Tj ET", []),
    "mostly small": (
        "BT /E 90 Tf 50 50 Td (Jazz) Tj /E 9 Tf (All that is to be known of it) Tj ET",
        [
            (
                "type_for_near",
                "most of the text on the page (85 % of its letters) is too small to be made out, down to 9.0 pt",
            )
        ],
    ),
    "a title cut off": ("BT /E 30 Tf 3 3 Td (J) Tj 60 60 Td /E 8 Tf (Jazz) Tj ET", [("type_too_small", "“Jazz”")]),
    "no text": ("0 0 9 9 re f", []),
}


@pytest.mark.parametrize(("content", "expected"), AFAR.values(), ids=AFAR.keys())
def test_what_can_be_made_out_from_two_metres(tmp_path, content, expected):
    poster = build(tmp_path, content)
    for distance, wanted in (("2000mm", expected), ("100mm", []), (None, [])):
        job = make_job(tmp_path, poster, ticket={"viewing_distance": distance} if distance else None)
        run_steps(job, step(least_text="1pt"))
        assert codes(job) == [f"note {code}" for code, _ in wanted]
        for finding, (_, words) in zip(job.findings, wanted, strict=True):
            assert finding.message.startswith("Seen from 2 m (6.56 ft)")
            assert words in finding.message
            assert "rule of thumb" in finding.message
            assert finding.required == "letters 2.91 mm (0.115 in) high"
            assert finding.mend
            assert finding.box


def test_what_it_tells_of_the_distance(tmp_path):
    content = "BT /E 90 Tf 50 50 Td (Jazz night) Tj /E 6 Tf (made) Tj ET"
    job = make_job(tmp_path, build(tmp_path, content), ticket={"viewing_distance": "2000mm"})
    (record,) = run_steps(job, step())
    assert record.told[-1] == (
        "Seen from 2 m (6.56 ft), the text can be made out; 31 % of the letters are smaller than that."
    )


def build(tmp_path, content, pages=1):
    path = make_pdf(tmp_path / "poster.pdf", bleed_mm=3, slug_mm=10, content=content.encode("cp1252"), pages=pages)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        shared = pdf.make_indirect(Dictionary(Font=fonts(pdf), ExtGState=Dictionary(Clear=Dictionary(ca=0))))
        for page in pdf.pages:
            page.obj.Resources = shared
        pdf.save(path)
    return path


def with_rights(rights: int) -> bytes:
    """The font with other embedding rights, written by fontTools."""
    font = TTFont(NOTO)
    font["OS/2"].fsType = rights
    out = BytesIO()
    font.save(out)
    return out.getvalue()


# OpenType specification, OS/2, fsType: 0 installable, 2 restricted, 4 preview and print, 8 editable, 0x200 bitmaps only;
# of several levels the least restrictive counts
RIGHTS = {0: False, 2: True, 4: False, 8: False, 6: False, 0x0102: True, 0x0200: False}


@pytest.mark.parametrize(("rights", "noted"), RIGHTS.items())
def test_a_font_whose_maker_does_not_want_it_embedded_is_noted(tmp_path, rights, noted):
    path = make_pdf(tmp_path / "poster.pdf", content=b"BT /E 20 Tf 50 50 Td (Jazz night) Tj ET")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].obj.Resources = Dictionary(Font=fonts(pdf))
        pdf.pages[0].Resources.Font.E.FontDescriptor.FontFile2 = Stream(pdf, with_rights(rights))
        pdf.save(path)
    job = make_job(tmp_path, path)
    run_steps(job, load_plugins().steps["check_fonts"]())
    assert codes(job) == ["note font_restricted"] * noted


@pytest.mark.parametrize(
    ("program", "forbids"),
    [
        (b"%!PS-AdobeFont-1.0: Hand\n/FontInfo 9 dict dup begin /FSType 2 def end", True),
        (b"%!PS-AdobeFont-1.0: Hand\n/FontInfo 9 dict dup begin /FSType 8 def end", False),
        (b"%!PS-AdobeFont-1.0: Hand\n", False),
        (b"\0\1\0\0\0\1" + b"\0" * 6 + b"OS/2" + b"\xff" * 12, False),
        (b"\0\1\0\0\xff\xff", False),
        (b"\1\0\4\1", False),
        (b"", False),
    ],
)
def test_what_other_programs_say_of_their_rights(program, forbids):
    assert forbids_embedding(program) is forbids


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


def test_letters_that_nobody_can_tell_are_told_of(tmp_path):
    job = make_job(tmp_path, build(tmp_path, "BT /U 20 Tf 50 50 Td <0003> Tj ET"))
    (record,) = run_steps(job, step())
    assert record.told[-1] == (
        "Text in “Signs” prints, but its words can't be read here: the file doesn't say what its letters stand for."
    )
