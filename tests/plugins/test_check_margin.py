"""What check_margin says of things near the cut: one table of small real posters."""

import zlib

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream

from hotfolder.loading import load_plugins
from hotfolder.testing import codes, embed_picture, make_job, make_pdf, run_steps
from hotfolder.units import MM

# The trim is 200 × 300 mm and begins at 0 0 of the drawing's own millimetres; the page has 5 mm bleed and 10 mm slug.
GROUND = "0 0 0 0 k -5 -5 210 310 re f 0 0 0 1 k "
LOGO = " ".join(f"{x} {y} 1.5 1.5 re" for x in range(0, 20, 2) for y in range(0, 8, 2)) + " f"


def text(words: str, x: float, y: float, size: float = 5, more: str = "") -> str:
    """Letters of Helvetica; `size` in mm, so that capitals are about 0.72 of it high."""
    return f"BT /F1 {size} Tf {more} 1 0 0 1 {x} {y} Tm ({words}) Tj ET "


def logo(x: float, y: float) -> str:
    return f"q 1 0 0 1 {x} {y} cm {LOGO} Q "


# content, ticket, settings -> findings as (level code, words of the message, measured)
TABLE = {
    "all clear": (text("Jazz", 20, 150) + logo(20, 20), {}, {}, []),
    "text near the left": (
        text("HALL", 4, 150),
        {},
        {},
        [("hold text_in_margin", "“HALL” is ", " from the left")],
    ),
    "and near the bottom too": (
        text("HALL", 4, 6),
        {},
        {},
        [("hold text_in_margin", "from the left and", "from the left")],
    ),
    "pieces of one line are told as a phrase": (
        "BT /F1 5 Tf 1 0 0 1 4 150 Tm (Doors) Tj 15 0 Td (7) Tj 4 0 Td [(p) 20 (m)] TJ ET",
        {},
        {},
        [("hold text_in_margin", "“Doors 7 pm” is ", " from the left")],
    ),
    "words that the file only moves apart": (
        "BT /F1 5 Tf 1 0 0 1 4 150 Tm [(Doors) -300 (open)] TJ ET",
        {},
        {},
        [("hold text_in_margin", "“Doors open”", " from the left")],
    ),
    "lines one below the other are told together": (
        "".join(text(f"Line {n}", 4, 150 - 8 * n) for n in range(5)),
        {},
        {},
        [("hold text_in_margin", "“Line 0” and 4 more lines like it are ", " from the left")],
    ),
    "letters without a table of what they mean": (
        "BT /Odd 5 Tf 1 0 0 1 4 150 Tm <00010002> Tj ET",
        {},
        {},
        [("hold text_in_margin", "Text of 14.2 pt is ", " from the left")],
    ),
    "text up to the trim": (
        text("HALL", -0.4, 150, 5),
        {},
        {},
        [("hold text_cut_off", "“HALL” will be cut off at the left", "from the left")],
    ),
    "text across the trim": (
        text("HALL", 190, 150),
        {},
        {},
        [("hold text_cut_off", "“HALL” will be cut off at the right", "beyond the right")],
    ),
    "huge letters that run off are art": (
        text("WOW", -20, 100, 100),
        {},
        {},
        [("note text_runs_off", "The large letters “WOW” run off the sheet at the left", "beyond the left")],
    ),
    "huge letters that nearly run off are not": (
        text("W", 3, 100, 60),
        {},
        {},
        [("hold text_in_margin", "“W”", "from the left")],
    ),
    "slug line outside the trim": (text("Job 7", 50, -12), {}, {}, []),
    "invisible text of a scan": (text("HALL", 4, 150, more="3 Tr"), {}, {}, []),
    "white letters on bare paper": (f"0 0 0 0 k {text('HALL', 4, 150)}", {}, {}, []),
    "letters that something covers": (text("HALL", 4, 150) + "1 0 0 0 k -5 100 100 100 re f", {}, {}, []),
    "letters that a clip hides": (f"q 50 50 99 99 re W n {text('HALL', 4, 150)} Q", {}, {}, []),
    "letters on a layer that doesn't print": (f"/OC /Off BDC {text('HALL', 4, 150)} EMC", {}, {}, []),
    "blanks are no letters": (text("    ", 4, 150) + text("      HALL", 7, 150, 5), {}, {}, []),
    "only the letters' own height counts": (text("HALL", 50, 12, 20), {}, {}, []),
    "letters with tails reach deeper": (
        text("gypsy", 50, 12, 20),
        {},
        {},
        [("hold text_in_margin", "“gypsy”", "from the bottom")],
    ),
    "another margin ordered": (text("HALL", 8, 150), {"safe_margin": "5mm"}, {}, []),
    "no margin ordered": (text("HALL", 1, 150), {"safe_margin": "0mm"}, {}, []),
    "no trim box, but the ordered size and bleed": (
        text("HALL", 4, 150),
        {"trim": "200x300mm", "bleed": "15mm"},
        {"boxes": False},
        [("hold text_in_margin", "“HALL”", "from the left")],
    ),
    "the same letters again, a little off": (
        text("HALL", 4, 150) + text("HALL", 4.3, 149.7),
        {},
        {},
        [("hold text_in_margin", "“HALL” is 4.", "from the left")],
    ),
    "letters that run upwards, in two pieces": (
        "BT /F1 5 Tf 0 1 -1 0 10 100 Tm (Pier) Tj 12 0 Td (six) Tj ET",
        {},
        {},
        [("hold text_in_margin", "“Pier six” is ", "from the left")],
    ),
    "letters on a photograph": (
        f"q 210 0 0 310 -5 -5 cm /Noise Do Q {text('HALL', 4, 150)}",
        {},
        {},
        [("hold text_in_margin", "“HALL” is 4 mm", "from the left")],
    ),
    "a logo": (
        logo(5, 150),
        {},
        {},
        [("hold small_art_in_margin", "A drawing, 19.5 × 7.5 mm", "5 mm (0.197 in) from the left")],
    ),
    "a logo, and the shop only wants a note": (
        logo(5, 150),
        {},
        {"small_art": "note"},
        [("note small_art_in_margin", "A drawing", "5 mm (0.197 in) from the left")],
    ),
    "and nothing at all": (logo(5, 150), {}, {"small_art": "ignore"}, []),
    "a logo on a stripe that runs off": (
        f".3 0 0 0 k -5 -5 210 40 re f 0 0 0 1 k {logo(100, 4)}",
        {},
        {},
        [("hold small_art_in_margin", "A drawing", "4 mm (0.157 in) from the bottom")],
    ),
    "parts of a logo on one line": (
        logo(5, 150) + logo(30, 150) + logo(55, 152) + logo(5, 200) + logo(35, 200),
        {},
        {},
        [
            ("hold small_art_in_margin", "A drawing, 69.5 × 9.5 mm", "5 mm (0.197 in) from the left"),
            ("hold small_art_in_margin", "A drawing, 19.5 × 7.5 mm", "5 mm (0.197 in) from the left"),
        ],
    ),
    "an outlined word along the foot, with letters of few points": (
        logo(60, 5) + "82 5 1 8 re 85 5 1 8 re f " + logo(88, 5),
        {},
        {},
        [("hold small_art_in_margin", "A drawing, 47.5 × 8 mm", "5 mm (0.197 in) from the bottom")],
    ),
    "a logo beside a line that is higher": (
        logo(5, 150) + "28 120 1 80 re f",
        {},
        {},
        [("hold small_art_in_margin", "A drawing, 19.5 × 7.5 mm", "5 mm (0.197 in) from the left")],
    ),
    "a logo beside a text": (
        text("HALL", 6, 140) + logo(8, 146),
        {},
        {},
        [
            ("hold text_in_margin", "“HALL”", "from the left"),
            ("hold small_art_in_margin", "A drawing", "from the left"),
        ],
    ),
    "a badge around a text, and a line below it": (
        f"0 .6 .9 0 k 4 140 m 4 160 40 160 40 150 c 40 140 30 138 20 138 c 10 138 4 138 4 140 c f "
        f"0 0 0 1 k {text('HALL', 8, 145)} 8 120 20 .5 re f {text('Bar', 8, 121)}",
        {},
        {},
        [("hold text_in_margin", "“HALL” and 1 more line", "from the left")],
    ),
    "parts of a drawing that runs off": (
        ".3 .6 0 0 k 8 150 m -9 170 l -9 190 l 12 190 20 180 20 175 c 25 165 20 150 8 150 c f " + logo(5, 170),
        {},
        {},
        [],
    ),
    "a small picture": (
        "q 30 0 0 20 6 100 cm /Im Do Q",
        {},
        {},
        [("hold small_art_in_margin", "A small picture, 30 × 20 mm", "6 mm (0.236 in) from the left")],
    ),
    "a small picture with an empty edge": ("q 30 0 0 20 6 100 cm /Padded Do Q", {}, {}, []),
    "a stencil": (
        "q 30 0 0 20 6 100 cm BI /W 1 /H 1 /IM true ID a EI Q",
        {},
        {},
        [("hold small_art_in_margin", "A small picture", "6 mm (0.236 in) from the left")],
    ),
    "a picture that runs off": ("q 30 0 0 20 -5 100 cm /Im Do Q", {}, {}, []),
    "a picture that ends at the trim": ("q 30 0 0 20 0 100 cm /Im Do Q", {}, {}, []),
    "a large picture": (
        "q 90 0 0 120 6 100 cm /Im Do Q",
        {},
        {},
        [("note art_in_margin", "A part of the art", "6 mm (0.236 in) from the left")],
    ),
    "a frame and a dot": (
        "1 w 6 6 188 288 re S 10 140 2 2 re f",
        {},
        {},
        [("note art_in_margin", "2 parts of the art", "5.5 mm (0.217 in) from the")],
    ),
    "a frame, and the shop doesn't want to know": ("1 w 6 6 188 288 re S", {}, {"other_art": "ignore"}, []),
    "a background and marks": (
        ".3 0 0 0 k -5 -5 210 310 re f 1 1 1 1 K .1 w -14 0 m -6 0 l -14 300 m -6 300 l 206 0 m 214 0 l S",
        {},
        {},
        [],
    ),
    "more than are shown": (
        "".join(text(f"No {n}", 4 + n, 150 - 8 * n) for n in range(4)),
        {},
        {"most_findings": 2},
        [
            ("hold text_in_margin", "“No 0”", "from the left"),
            ("hold text_in_margin", "“No 1”", "from the left"),
            ("hold more_in_margin", "2 more places of this kind, such as “No 2” on page 1.", "2 more places"),
        ],
    ),
    "more logos than are shown": (
        logo(4, 150) + logo(5, 200),
        {},
        {"most_findings": 1},
        [
            ("hold small_art_in_margin", "A drawing", "from the left"),
            ("hold more_in_margin", "1 more place of this kind, such as a drawing, 19.5 × 7.5 mm", "1 more place"),
        ],
    ),
}  # fmt: skip


@pytest.fixture(scope="session")
def check_margin():
    return load_plugins().steps["check_margin"]


def poster(folder, content, *, boxes=True, changes=None, before=""):
    path = folder / "poster.pdf"
    drawing = f"q {MM} 0 0 {MM} {15 * MM} {15 * MM} cm {before} {GROUND} {content} Q"
    make_pdf(path, trim_mm=(200, 300), bleed_mm=5, slug_mm=10, boxes=boxes, content=drawing.encode(), changes=changes)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)
        cid = Dictionary(Type=Name.Font, Subtype=Name.CIDFontType2, BaseFont=Name.Odd, DW=600)
        odd = Dictionary(Type=Name.Font, Subtype=Name.Type0, BaseFont=Name.Odd, Encoding=Name("/Identity-H"), DescendantFonts=Array([cid]))  # fmt: skip
        padded = bytes(128 if 20 < x < 80 and 10 < y < 90 else 255 for y in range(100) for x in range(100))
        noise = bytes(x * 37 * x % 251 for x in range(200 * 300))
        off = pdf.make_indirect(Dictionary(Type=Name.OCG, Name="no"))
        pdf.Root.OCProperties = Dictionary(OCGs=Array([off]), D=Dictionary(OFF=Array([off])))
        for page in pdf.pages:
            page.obj.Resources = Dictionary(
                Font=Dictionary(F1=font, Odd=odd),
                XObject=Dictionary(
                    Im=embed_picture(pdf, 4, 4),
                    Padded=embed_picture(pdf, 100, 100, "/DeviceGray", padded),
                    Noise=embed_picture(pdf, 200, 300, "/DeviceGray", noise),
                ),
                Properties=Dictionary(Off=off),
            )
        pdf.save(path)
    return path


def judged(folder, step, path, ticket=None, settings=None):
    job = make_job(folder, path, ticket=ticket or {})
    records = run_steps(job, step(step.Settings(**(settings or {}))))
    assert [record.trace for record in records] == [None]
    return job, records[0].told


@pytest.mark.parametrize("case", TABLE)
def test_what_it_says(case, check_margin, tmp_path):
    content, ticket, settings, wanted = TABLE[case]
    settings = dict(settings)
    path = poster(tmp_path, content, boxes=settings.pop("boxes", True))
    job, told = judged(tmp_path, check_margin, path, ticket, settings)
    assert codes(job) == [code for code, _, _ in wanted]
    for found, (_, words, measured) in zip(job.findings, wanted, strict=True):
        assert words in found.message
        assert measured in found.measured
    if not any(code.startswith("hold") for code, _, _ in wanted):
        assert any("stand" in sentence or "No safe margin" in sentence for sentence in told)


def test_art_on_several_pages_is_told_once(check_margin, tmp_path):
    path = poster(tmp_path, "1 w 6 6 188 288 re S")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        for _ in range(4):
            pdf.pages.append(pdf.pages[0])
        pdf.pages[3].Contents = pdf.make_stream(b"")
        pdf.save(path)
    (found,) = judged(tmp_path, check_margin, path, {"pages": 5})[0].findings
    assert found.message.startswith("Pages 1 to 3 and 5: 4 parts of the art")
    assert found.page == 1


# /Rotate, how far the drawing is mirrored -> the side that letters at the page's own left are told to be near
TURNED = [(0, "left"), (90, "top"), (180, "right"), (270, "bottom")]


@pytest.mark.parametrize(("rotate", "side"), TURNED)
def test_sides_are_named_as_the_page_is_looked_at(rotate, side, check_margin, tmp_path):
    path = poster(tmp_path, text("HALL", 4, 150), changes={"/Rotate": rotate})
    (found,) = judged(tmp_path, check_margin, path)[0].findings
    assert f"from the {side} trim" in found.message


def test_a_mirrored_drawing_is_near_the_other_side(check_margin, tmp_path):
    path = poster(tmp_path, text("HALL", 4, 150), before="-1 0 0 1 200 0 cm")
    (found,) = judged(tmp_path, check_margin, path)[0].findings
    assert "from the right trim" in found.message


@pytest.mark.parametrize("content", [text("HALL", 4, 150), logo(4, 150)])
def test_moved_boxes_and_another_unit_measure_the_same(content, check_margin, tmp_path):
    """A page drawn in half-size units around a point far from zero is the same sheet."""
    (plain,) = judged(tmp_path, check_margin, poster(tmp_path, content))[0].findings
    path = poster(tmp_path, content)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        page = pdf.pages[0]
        page.contents_add(b"q .5 0 0 .5 -3000 -4000 cm", prepend=True)
        page.contents_add(b"Q")
        for key in ("MediaBox", "TrimBox", "BleedBox"):
            left, bottom, right, top = (float(side) / 2 for side in page.obj[f"/{key}"])
            page.obj[f"/{key}"] = Array([right - 3000, top - 4000, left - 3000, bottom - 4000])  # corners swapped
        page.obj.UserUnit = 2
        pdf.save(path)
    (moved,) = judged(tmp_path, check_margin, path)[0].findings
    assert moved.message == plain.message


def test_pages_are_named_where_there_are_several(check_margin, tmp_path):
    path = tmp_path / "two.pdf"
    with pikepdf.open(poster(tmp_path, text("HALL", 4, 150))) as pdf:
        pdf.pages.append(pdf.pages[0])
        pdf.save(path)
    job, _ = judged(tmp_path, check_margin, path)
    assert [found.message[:14] for found in job.findings] == ["Page 1: “HALL”", "Page 2: “HALL”"]
    assert [found.page for found in job.findings] == [1, 2]


def test_it_says_that_pictures_can_t_be_known(check_margin, tmp_path):
    _, told = judged(tmp_path, check_margin, poster(tmp_path, "q 210 0 0 310 -5 -5 cm /Im Do Q"))
    assert any("can't be known" in sentence for sentence in told)


def test_the_picture_of_a_finding_is_its_place(check_margin, tmp_path):
    """The box lies where the letters are, in the page's own space."""
    (found,) = judged(tmp_path, check_margin, poster(tmp_path, text("HALL", 4, 150)))[0].findings
    assert found.box is not None
    assert found.box.left / MM - 15 == pytest.approx(4, abs=0.1)
    assert found.box.bottom / MM - 15 == pytest.approx(150, abs=0.2)


HOSTILE = {
    "a path of many points": b"0 0 m " + b"1 1 l " * 300_000 + b"f",
    "absurd numbers": b"BT /F1 999999999 Tf 999999999 0 0 999999999 0 0 Tm (a) Tj ET 1e99 0 m 0 0 l S",
    "numbers missing": b"BT Tm Td /F1 Tf (a) Tj (b) ET re f cm w l S W n EMC EMC BDC",
    "deep nesting": b"q " * 5000 + b"BT /F1 9 Tf (a) Tj ET",
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_content_is_no_fault(case, check_margin, tmp_path):
    path = poster(tmp_path, "")
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        data = zlib.compress(HOSTILE[case])
        pdf.pages[0].obj.Contents = pdf.make_indirect(Stream(pdf, data, Filter=Name.FlateDecode))
        pdf.save(path)
    judged(tmp_path, check_margin, path)


def test_more_objects_than_are_measured_are_told(check_margin, tmp_path, monkeypatch):
    monkeypatch.setattr("hotfolder.pdf.looking.inventory_watch.MOST_OBJECTS", 3)
    job, _ = judged(tmp_path, check_margin, poster(tmp_path, "100 100 9 9 re f " * 9))
    assert codes(job) == ["note not_all_judged"]
    assert "more than 3 parts" in job.findings[0].message
