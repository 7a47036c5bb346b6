"""What check_geometry says about a page: one table of small real PDFs and their findings."""

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from hotfolder.loading import load_plugins
from hotfolder.testing import codes, make_job, make_pdf, run_steps
from hotfolder.units import MM

A3 = {"trim": "A3", "bleed": "3mm"}


def mm(*values: float) -> Array:
    return Array([round(value * MM, 4) for value in values])


# what is built, ticket, settings -> findings as (level code, words of the message, measured, required)
TABLE = {
    "as ordered": ({"bleed_mm": 3}, A3, {}, []),
    "more bleed than ordered": ({"bleed_mm": 10}, A3, {}, []),
    "with marks around": ({"bleed_mm": 3, "slug_mm": 15}, A3, {}, []),
    "lying": ({"trim_mm": (420, 297), "bleed_mm": 3}, A3, {}, []),
    "turned by Rotate": ({"bleed_mm": 3, "changes": {"/Rotate": 90}}, A3, {}, []),
    "no size ordered": ({"trim_mm": (123, 456), "bleed_mm": 3}, {"bleed": "3mm"}, {}, []),
    "no bleed ordered": ({"bleed_mm": 0}, {"trim": "A3", "bleed": "0mm"}, {}, []),
    "0.8 mm off is no other size": ({"trim_mm": (297.8, 420), "bleed_mm": 3}, A3, {}, []),
    "0.8 mm off, strict": (
        {"trim_mm": (297.8, 420), "bleed_mm": 3},
        A3,
        {"tolerance": "0.5mm", "tolerance_percent": 0},
        [("hold wrong_size", "cut to 297.8 × 420 mm", "297.8 × 420 mm (11.72 × 16.54 in)", None)],
    ),
    "A4 for A3": (
        {"trim_mm": (210, 297), "bleed_mm": 3},
        A3,
        {},
        [
            (
                "hold wrong_size",
                "The page is cut to 210 × 297 mm (8.27 × 11.69 in), but 297 × 420 mm (11.69 × 16.54 in) was ordered. "
                "This is the poster in the same shape at 70.7 % of the ordered size (A4 for A3). Enlarged 1.41 times, its "
                "pictures come out that much coarser (for 150 ppi in print they need 212 ppi here) and its type that much "
                "larger.",
                "210 × 297 mm (8.27 × 11.69 in)",
                "297 × 420 mm (11.69 × 16.54 in)",
            )
        ],
    ),
    "1:2": (
        {"trim_mm": (304.8, 457.2)},
        {"trim": "24x36in"},
        {},
        [
            (
                "hold wrong_size",
                "The page is cut to 304.8 × 457.2 mm (12 × 18 in), but 609.6 × 914.4 mm (24 × 36 in) was ordered. This is "
                "the poster at half size (1:2). Enlarged 2 times, its pictures come out that much coarser (for 150 ppi in "
                "print they need 300 ppi here) and its type that much larger.",
                "304.8 × 457.2 mm (12 × 18 in)",
                "609.6 × 914.4 mm (24 × 36 in)",
            )
        ],
    ),
    "1:2 with half the bleed": (
        {"trim_mm": (304.8, 457.2), "bleed_mm": 1.5875},
        {"trim": "24x36in"},
        {},
        [("hold wrong_size", "at half size (1:2).", None, None)],
    ),
    "1:2 with a quarter of the bleed": (
        {"trim_mm": (304.8, 457.2), "bleed_mm": 0.8},
        {"trim": "24x36in"},
        {},
        [
            ("hold wrong_size", "at half size (1:2).", None, None),
            ("hold little_bleed", "only 0.8 mm", None, "1.59 mm (0.063 in) on every side"),
        ],
    ),
    "1:2, lying": ({"trim_mm": (210, 148.5)}, A3, {}, [("hold wrong_size", "at half size (1:2).", None, None)]),
    "1:2 by Rotate": (
        {"trim_mm": (210, 148.5), "changes": {"/Rotate": 90}},
        A3,
        {},
        [("hold wrong_size", "The page is cut to 148.5 × 210 mm", None, None)],
    ),
    "1:4": (
        {"trim_mm": (152.4, 228.6)},
        {"trim": "24x36in"},
        {},
        [("hold wrong_size", "the poster at a quarter of its size (1:4). Enlarged 4 times,", None, None)],
    ),
    "A5 for A3, rounded to whole millimetres": (
        {"trim_mm": (148, 210)},
        A3,
        {},
        [("hold wrong_size", "the poster at half size (1:2). Enlarged 2.01 times,", None, None)],
    ),
    "A8 for A0": (
        {"trim_mm": (52, 74)},
        {"trim": "A0"},
        {},
        [("hold wrong_size", "in the same shape at 6.18 % of the ordered size (A8 for A0).", None, None)],
    ),
    "4A0 for A4": (
        {"trim_mm": (1682, 2378)},
        {"trim": "A4"},
        {},
        [("hold wrong_size", "This is the poster at 8 times its size (8:1). Reduced to 12.5 %, its type", None, None)],
    ),
    "1:10": (
        {"trim_mm": (100, 200), "bleed_mm": 3},
        {"trim": "1000x2000mm", "bleed": "3mm"},
        {},
        [("hold wrong_size", "This is the poster at a tenth of its size (1:10). Enlarged 10 times", None, None)],
    ),
    "twice": (
        {"trim_mm": (594, 840)},
        A3,
        {},
        [
            (
                "hold wrong_size",
                "the poster at twice its size (2:1). Reduced to 50 %, its type and its lines come out that much smaller (8 pt here is 4 pt in print).",
                None,
                None,
            )
        ],
    ),
    "18 x 24 in for 24 x 36 in": (
        {"trim_mm": (457.2, 609.6)},
        {"trim": "24x36in"},
        {},
        [
            (
                "hold wrong_size",
                "Its shape is another one. Scaled to fill the ordered size, 38.1 mm (1.5 in) would be cut off at the left "
                "and at the right; scaled to be kept whole, 50.8 mm (2 in) would stay white at the top and at the bottom.",
                None,
                None,
            )
        ],
    ),
    "24 x 36 in for 18 x 24 in": (
        {"trim_mm": (609.6, 914.4)},
        {"trim": "18x24in"},
        {},
        [
            (
                "hold wrong_size",
                "38.1 mm (1.5 in) would be cut off at the top and at the bottom; scaled to be kept whole, 25.4 mm (1 in) "
                "would stay white at the left and at the right.",
                None,
                None,
            )
        ],
    ),
    "a square for A3": (
        {"trim_mm": (300, 300)},
        A3,
        {},
        [("hold wrong_size", "61.5 mm (2.421 in) would be cut off at the left and at the right;", None, None)],
    ),
    "a square of twice the size": (
        {"trim_mm": (200, 200)},
        {"trim": "100x100mm"},
        {},
        [("hold wrong_size", "the poster at twice its size (2:1).", None, None)],
    ),
    "UserUnit 10 of a 1:10 page": (
        {"trim_mm": (100, 200), "bleed_mm": 0.3, "changes": {"/UserUnit": 10}},
        {"trim": "1000x2000mm", "bleed": "3mm"},
        {},
        [],
    ),
    "bleed counted into the trim": (
        {"trim_mm": (305, 428), "bleed_mm": 3},
        A3,
        {},
        [("hold wrong_size", "about 4 mm (0.157 in) larger on every side, as if bleed", None, None)],
    ),
    "no bleed at all": (
        {"bleed_mm": 0},
        A3,
        {},
        [
            (
                "hold no_bleed",
                "The page has no bleed on any side: the art ends where the paper is cut.",
                "0 mm (0 in) on all four sides",
                "3 mm (0.118 in) on every side",
            )
        ],
    ),
    "2 mm bleed": (
        {"bleed_mm": 2},
        A3,
        {},
        [
            (
                "hold little_bleed",
                "too little bleed on all four sides: only 2 mm (0.079 in).",
                "2 mm (0.079 in) on all four sides",
                None,
            )
        ],
    ),
    "2.96 mm bleed is within the tolerance": ({"bleed_mm": 2.96}, A3, {}, []),
    "no bleed at the left": (
        {"bleed_mm": 5, "changes": {"/BleedBox": mm(5, 0, 307, 430)}},
        A3,
        {},
        [("hold no_bleed", "no bleed at the left:", "0 mm (0 in) at the left", None)],
    ),
    "short at the left as drawn, at the top as looked at": (
        {"bleed_mm": 5, "changes": {"/BleedBox": mm(3.5, 0, 307, 430), "/Rotate": 90}},
        A3,
        {},
        [("hold little_bleed", "too little bleed at the top: only 1.5 mm (0.059 in).", None, None)],
    ),
    "short at two sides": (
        {"bleed_mm": 5, "changes": {"/BleedBox": mm(4, 0, 303, 430)}},
        A3,
        {},
        [
            (
                "hold little_bleed",
                "bleed at the right and left: only 1 mm",
                "1 mm (0.039 in) at the right and left",
                None,
            )
        ],
    ),
    "boxes that promise more than the page has": (
        {"bleed_mm": 0, "changes": {"/BleedBox": [-9, -9, 860, 1210]}},
        A3,
        {},
        [("hold no_bleed", "The file speaks of more room than its page has", None, None)],
    ),
    "no bleed box: the page's edge": (
        {"bleed_mm": 1, "changes": {"/BleedBox": None}},
        A3,
        {},
        [
            (
                "hold little_bleed",
                "Measured to the edge of the page; the file doesn't say how far its bleed reaches.",
                None,
                None,
            )
        ],
    ),
    "no bleed box, but the page is large enough": ({"bleed_mm": 3, "changes": {"/BleedBox": None}}, A3, {}, []),
    "no bleed, and bare paper along every cut": (
        {"bleed_mm": 0, "content": b"0 0 0 1 k 100 100 300 300 re f"},
        A3,
        {},
        [("note bleed_not_needed", "than ordered on all four sides, and needs none: the paper is bare", None, None)],
    ),
    "no bleed, and art that reaches one cut": (
        {"bleed_mm": 0, "content": b"0 0 0 1 k -9 -9 309 309 re f", "changes": {"/Rotate": 90}},
        A3,
        {},
        [
            ("note bleed_not_needed", "at the right and bottom, and needs none", None, None),
            ("hold no_bleed", "The page has no bleed at the top and left:", "0 mm (0 in) at the top and left", None),
        ],
    ),
    "no bleed, and art that stands just inside the cut by its own form": (
        {"bleed_mm": 0, "content": b"0 0 0 1 k 300 300 m 420 1.2 l 540 300 l h f"},
        A3,
        {},
        [("note bleed_not_needed", "on all four sides", None, None)],
    ),
    "no bleed, and a ground that all but reaches the cut": (
        {"bleed_mm": 0, "content": b"0 0 0 1 k 1 1 839.89 1188.55 re f"},
        A3,
        {},
        [("hold no_bleed", "on any side", None, None)],
    ),
    "no bleed and no visible tint at the cut": (
        {"bleed_mm": 0, "content": b"0.02 0 0 0 k -9 -9 1999 1999 re f"},
        A3,
        {},
        [("note bleed_not_needed", "on all four sides", None, None)],
    ),
    "no boxes, page of order and bleed": ({"bleed_mm": 3, "boxes": False}, A3, {}, []),
    "no boxes, page of the ordered size": (
        {"bleed_mm": 0, "boxes": False},
        A3,
        {},
        [("hold no_bleed", "no bleed on any side", None, None)],
    ),
    "no boxes, room for marks": (
        {"bleed_mm": 3, "slug_mm": 12, "boxes": False},
        A3,
        {},
        [
            (
                "hold no_trim_box",
                "The page is 327 × 450 mm (12.87 × 17.72 in) and doesn't say where it is cut",
                "327 × 450 mm (12.87 × 17.72 in)",
                "297 × 420 mm (11.69 × 16.54 in)",
            )
        ],
    ),
    "no boxes, A4 for A3": (
        {"trim_mm": (210, 297), "bleed_mm": 0, "boxes": False},
        A3,
        {},
        [("hold wrong_size", "The page is 210 × 297 mm", None, None)],
    ),
    "trim beyond the bleed": (
        {"bleed_mm": 5, "changes": {"/BleedBox": mm(7, 0, 307, 430)}},
        A3,
        {},
        [("hold trim_outside", "its trim box reaches beyond its bleed at the left.", "2 mm (0.079 in) beyond", None)],
    ),
    "a trim box touching the bleed box after rounding is inside it": (
        {"bleed_mm": 0, "changes": {"/BleedBox": Array([0.0005, 0, 841.8898, 1190.5512])}},
        {"trim": "A3", "bleed": "0mm"},
        {},
        [],
    ),
    "a crop that hides art inside the trim": (
        {"bleed_mm": 3, "changes": {"/CropBox": mm(3, 3, 303, 400)}},
        A3,
        {},
        [("hold hidden_art", "a crop hides art that lies inside the cut.", None, "the crop box outside the trim box")],
    ),
    "a crop at the trim is usual": ({"bleed_mm": 3, "changes": {"/CropBox": mm(3, 3, 300, 423)}}, A3, {}, []),
    "trim beyond the page": (
        {"bleed_mm": 0, "changes": {"/TrimBox": mm(-1, 0, 297, 420)}},
        A3,
        {},
        [("hold trim_outside", "its trim box reaches beyond the page itself.", None, None)],
    ),
    "a page without width": (
        {"changes": {"/TrimBox": mm(5, 5, 5, 50)}},
        A3,
        {},
        [("hold size_unreadable", "TrimBox has no area", None, None)],
    ),
    "letters for numbers": (
        {"changes": {"/TrimBox": Array([0, 0, Name("/wide"), 5])}},
        A3,
        {},
        [("hold size_unreadable", "The size of the page can't be read. The page's TrimBox is damaged", None, None)],
    ),
    # ---- boxes in odd forms (ISO 32000-1 7.9.5: any two opposite corners; table 30: UserUnit, Rotate)
    "corners in the other order": (
        {"bleed_mm": 3, "changes": {"/TrimBox": mm(300, 423, 3, 3), "/MediaBox": mm(303, 426, 0, 0)}},
        A3,
        {},
        [],
    ),
    "negative coordinates": (
        {
            "changes": {
                "/MediaBox": mm(-160, -220, 160, 220),
                "/TrimBox": mm(-148.5, -210, 148.5, 210),
                "/BleedBox": mm(-151.5, -213, 151.5, 213),
            }
        },
        A3,
        {},
        [],
    ),
    "boxes far from the page": (
        {"changes": {"/TrimBox": mm(5000, 5000, 5297, 5420)}},
        A3,
        {},
        [("hold size_unreadable", "The page's TrimBox lies outside the page.", None, None)],
    ),
    "the bleed box inside the trim box": (
        {"bleed_mm": 5, "changes": {"/BleedBox": mm(10, 10, 297, 420)}},
        A3,
        {},
        [
            (
                "hold trim_outside",
                "reaches beyond its bleed at the top, right, bottom and left.",
                "5 mm (0.197 in) beyond",
                None,
            )
        ],
    ),
    "a bleed box larger than the page counts as far as the page goes": (
        {"bleed_mm": 3, "changes": {"/BleedBox": mm(-50, -50, 400, 500)}},
        A3,
        {},
        [],
    ),
    "UserUnit beyond all measure": (
        {"changes": {"/UserUnit": 1e8}},
        A3,
        {},
        [("hold size_unreadable", "UserUnit, the scale of all its measures, isn't a usable number.", None, None)],
    ),
    "UserUnit 0": (
        {"changes": {"/UserUnit": 0}},
        A3,
        {},
        [("hold size_unreadable", "UserUnit, the scale of all its measures, isn't a usable number.", None, None)],
    ),
    "UserUnit 2 by mistake": (
        {"bleed_mm": 3, "changes": {"/UserUnit": 2}},
        A3,
        {},
        [("hold wrong_size", "is cut to 594 × 840 mm", None, None)],
    ),
    "turned by 45 degrees": (
        {"changes": {"/Rotate": 45}},
        A3,
        {},
        [("hold size_unreadable", "isn't a multiple of 90 degrees.", None, None)],
    ),
    "turned by minus 90 and by 450 degrees": ({"bleed_mm": 3, "changes": {"/Rotate": -270 - 720}}, A3, {}, []),
    "two pages for one": (
        {"bleed_mm": 3, "pages": 2},
        A3,
        {},
        [("hold wrong_page_count", "The file has 2 pages, but 1 page was ordered.", "2 pages", "1 page")],
    ),
    "one page for two": (
        {"bleed_mm": 3},
        A3 | {"pages": 2},
        {},
        [("hold wrong_page_count", "The file has 1 page, but 2 pages were ordered.", "1 page", "2 pages")],
    ),
    "the same on eight pages is said once": (
        {"bleed_mm": 0, "pages": 8},
        A3 | {"pages": 8},
        {},
        [("hold no_bleed", "Page 1 has no bleed", None, None)],
    ),
}


def step(**settings):
    kind = load_plugins().steps["check_geometry"]
    return kind(kind.Settings(**settings))


@pytest.mark.parametrize(("built", "ticket", "settings", "expected"), TABLE.values(), ids=TABLE.keys())
def test_findings(tmp_path, built, ticket, settings, expected):
    job = make_job(tmp_path, make_pdf(tmp_path / "art.pdf", **built), ticket=ticket)
    (record,) = run_steps(job, step(**settings))
    assert record.ended == "done", record.trace
    assert codes(job) == [line[0] for line in expected]
    for finding, (_, words, measured, required) in zip(job.findings, expected, strict=True):
        assert words in finding.message
        assert measured in (None, finding.measured)
        assert required in (None, finding.required)
        assert finding.mend or finding.level == "note"
    assert bool(record.told) is not job.held


LINES = [(60, 700), (60, 600), (60, 500)]
FONT = Dictionary(Font=Dictionary(F1=Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)))
FLAT = b"0.2 0.1 0 0 k -9999 -9999 19998 19998 re f 0 0 0 1 k "


def text(matrix: str, words: str = "Jazz in the park") -> bytes:
    """Three lines of text, each through the matrix."""
    return b"".join(f"BT /F1 30 Tf {matrix.format(x, y)} Tm ({words}) Tj ET ".encode() for x, y in LINES)


# content, page keys, settings -> findings
ART = {
    "text reads across": (text("1 0 0 1 {} {}"), {}, {}, []),
    "reads upwards": (text("0 1 -1 0 {} {}"), {}, {}, [("note text_turned", "All text on the page reads upwards as")]),
    "reads downwards": (text("0 -1 1 0 {} {}"), {}, {}, [("note text_turned", "reads downwards")]),
    "stands on its head": (text("-1 0 0 -1 500 {1}"), {}, {}, [("note text_turned", "stands on its head")]),
    "turned upright by Rotate": (text("0 1 -1 0 {} {}"), {"/Rotate": 90}, {}, []),
    "turned on its side by Rotate": (text("1 0 0 1 {} {}"), {"/Rotate": 90}, {}, [("note text_turned", "reads downwards")]),
    "slanted a little": (text("1 0.1 -0.1 1 {} {}"), {}, {}, []),
    "at 45 degrees": (text("1 1 -1 1 {} {}"), {}, {}, []),
    "one line of four upwards": (text("1 0 0 1 {} {}") + text("0 1 -1 0 {} {}", "side")[:50], {}, {}, []),
    "too little text to tell": (text("-1 0 0 -1 500 {1}", "oh"), {}, {}, []),
    "mirrored": (text("-1 0 0 1 500 {1}"), {}, {}, [("hold mirrored", "The page is mirrored: all of its text reads backwards.")]),
    "mirrored upside down": (text("1 0 0 -1 {} {}"), {}, {}, [("hold mirrored", "reads backwards")]),
    "mirrored, as ordered": (text("-1 0 0 1 500 {1}"), {}, {"mirrored": True}, []),
    "mirrored twice": (b"-1 0 0 1 800 0 cm " + text("-1 0 0 1 500 {1}"), {}, {}, []),
    "text off the sheet": (
        text("1 0 0 1 {} {}") + b"BT /F1 9 Tf -400 300 Td (Old price: 12.50) Tj ET",
        {},
        {},
        [("note off_the_sheet", 'The page holds the text “Old price: 12.50” off the sheet, or more than half off it')],
    ),
    "text across the sheet's edge": (
        b"BT /F1 200 Tf 600 300 Td (Festival) Tj ET",
        {},
        {},
        [("note off_the_sheet", 'the text “Festival”')],
    ),
    "a background that reaches far beyond is usual": (b"", {}, {}, []),
    "invisible text across the edge": (b"BT 3 Tr /F1 90 Tf 800 300 Td (Hidden words) Tj ET", {}, {}, []),
}  # fmt: skip


@pytest.mark.parametrize(("content", "changes", "settings", "expected"), ART.values(), ids=ART.keys())
def test_how_the_art_lies(tmp_path, content, changes, settings, expected):
    path = make_pdf(tmp_path / "art.pdf", content=FLAT + content, resources=FONT, changes=changes)
    job = make_job(tmp_path, path, ticket=A3)
    run_steps(job, step(**settings))
    assert codes(job) == [line[0] for line in expected]
    for finding, (_, words) in zip(job.findings, expected, strict=True):
        assert words in finding.message


def art_at(left: float, bottom: float, width: float, height: float) -> bytes:
    """A flat area in millimetres, on white that fills the page."""
    box = " ".join(f"{side * MM:.3f}" for side in (left, bottom, width, height))
    return f"1 1 1 rg -99 -99 9999 9999 re f 0 0.5 0.3 0 k {box} re f".encode()


# where the art stands on a page of 500 x 600 mm without trim box, Rotate -> code and words
LARGER = {
    "off the middle": (
        art_at(20, 100, 297, 420),
        0,
        "hold larger_page",
        "The page is 500 × 600 mm (19.69 × 23.62 in), and nothing says where it is cut (there is no trim box). Its art has "
        "the ordered size, 297 × 420 mm (11.69 × 16.54 in), and lies off the middle, with 80 mm (3.15 in) at the top, "
        "183 mm (7.205 in) at the right, 100 mm (3.937 in) at the bottom and 20 mm (0.787 in) at the left left free.",
    ),
    "in the middle": (art_at(101.5, 90, 297, 420), 0, "hold larger_page", "and lies in the middle, with 90 mm"),
    "with bleed": (
        art_at(17, 97, 303, 426),
        0,
        "hold larger_page",
        "the ordered size, 297 × 420 mm (11.69 × 16.54 in) and 3 mm (0.118 in) bleed, and lies off the middle",
    ),
    "turned": (
        art_at(20, 100, 297, 420),
        90,
        "hold larger_page",
        "The page is 600 × 500 mm (23.62 × 19.69 in), and nothing says where it is cut (there is no trim box). Its art has "
        "the ordered size, 420 × 297 mm (16.54 × 11.69 in), and lies off the middle, with 20 mm (0.787 in) at the top,",
    ),
    "of another size": (art_at(20, 100, 210, 297), 0, "hold wrong_size", "is 500 × 600 mm"),
    "all over the page": (art_at(-5, -5, 600, 700), 0, "hold wrong_size", "is 500 × 600 mm"),
}


@pytest.mark.parametrize(("content", "rotate", "code", "words"), LARGER.values(), ids=LARGER.keys())
def test_art_on_a_larger_page(tmp_path, content, rotate, code, words):
    built = {"trim_mm": (500, 600), "bleed_mm": 0, "boxes": False, "content": content, "changes": {"/Rotate": rotate}}
    job = make_job(tmp_path, make_pdf(tmp_path / "art.pdf", **built), ticket=A3)
    run_steps(job, step())
    assert codes(job) == [code]
    assert words in job.findings[0].message


def test_further_pages_are_named_up_to_five(tmp_path):
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", bleed_mm=0, pages=8), ticket=A3 | {"pages": 8})
    run_steps(job, step())
    (finding,) = job.findings
    assert finding.message.endswith("The same on pages 2, 3, 4, 5, 6 and 2 more.")
    assert finding.page == 1


@pytest.mark.parametrize(
    ("sizes_mm", "ticket", "expected"),
    [
        ([(297, 420), (210, 297)], {}, ["hold pages_differ"]),
        ([(297, 420), (420, 297)], {}, ["note pages_turned"]),
        ([(297, 420), (297, 420.5)], {}, []),
        ([(297, 420), (210, 297)], {"trim": "A3"}, ["hold wrong_size"]),
    ],
)
def test_pages_among_themselves(tmp_path, sizes_mm, ticket, expected):
    pdf = pikepdf.new()
    for width, height in sizes_mm:
        pdf.add_blank_page(page_size=(width * MM, height * MM)).obj.TrimBox = mm(0, 0, width, height)
    pdf.save(tmp_path / "art.pdf")
    job = make_job(tmp_path, tmp_path / "art.pdf", ticket={"pages": 2, "bleed": "0mm"} | ticket)
    run_steps(job, step())
    assert codes(job) == expected


def test_a_finding_shows_where(tmp_path):
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", bleed_mm=1), ticket=A3)
    run_steps(job, step())
    assert job.findings[0].box == pytest.approx((MM, MM, 298 * MM, 421 * MM), abs=1e-3)


def test_the_bleed_told_is_the_one_that_is_there(tmp_path):
    """3 mm go for 1/8 in, but the report must not turn them into more."""
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", bleed_mm=3), ticket={"trim": "A3", "bleed": "0.125in"})
    (record,) = run_steps(job, step())
    assert record.told == [
        "The page is cut to 297 × 420 mm (11.69 × 16.54 in), with 3 mm (0.118 in) bleed or more on every side."
    ]
