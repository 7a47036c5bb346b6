"""What fit_page makes of a page: one table of small real PDFs, what was done, and where they are cut afterwards."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from hotfolder.config.builtin import POSTER_CHAIN
from hotfolder.loading import load_plugins
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.render import render_page
from hotfolder.plugin import Job
from hotfolder.testing import codes, embed_picture, make_job, make_pdf, run_steps
from hotfolder.units import INCH, MM, parse_size

STEPS = load_plugins().steps
CORPUS = Path(__file__).parents[2].parent / "shared" / "corpus" / "posters"
IN = 25.4
POSTER = {"trim": "24x36in", "bleed": "0.125in"}
A3 = {"trim": "A3", "bleed": "3mm"}
HALF = {"trim_mm": (12 * IN, 18 * IN), "bleed_mm": IN / 16}
SCALES = {"scales": ["1:2", "1:4", "1:10"]}

# what is built, ticket, settings -> code and words of the finding (None: nothing done), trim in mm afterwards, bleed in mm
TABLE = {
    # as ordered
    "as ordered": ({"bleed_mm": 3}, A3, SCALES, None, (297, 420), 3),
    "lying, not to be turned": ({"trim_mm": (420, 297), "bleed_mm": 3}, A3, SCALES, None, (420, 297), 3),
    "turned by Rotate, of the right size": ({"changes": {"/Rotate": 90}}, A3, SCALES, None, (297, 420), 3.175),
    "no size ordered": ({"trim_mm": (100, 150), "bleed_mm": 3}, {}, SCALES, None, (100, 150), 3),
    "0.8 mm off is the ordered size": ({"trim_mm": (297.8, 420), "bleed_mm": 3}, A3, {}, None, (297.8, 420), 3),
    # agreed scales
    "half size": (
        HALF,
        POSTER,
        SCALES,
        (
            "page_fitted",
            "The page was enlarged 2 times: 304.8 × 457.2 mm (12 × 18 in) to 609.6 × 914.4 mm (24 × 36 in). Pictures are",
        ),
        (24 * IN, 36 * IN),
        IN / 8,
    ),
    "half size, not agreed": (HALF, POSTER, {}, None, (12 * IN, 18 * IN), IN / 16),
    "half size, another scale agreed": (HALF, POSTER, {"scales": ["1:4"]}, None, (12 * IN, 18 * IN), IN / 16),
    "a quarter": (
        {"trim_mm": (6 * IN, 9 * IN), "bleed_mm": IN / 8},
        POSTER,
        SCALES,
        ("page_fitted", "enlarged 4 times: 152.4 × 228.6 mm (6 × 9 in) to"),
        (24 * IN, 36 * IN),
        IN / 2,
    ),
    "a tenth": (
        {"trim_mm": (100, 200), "bleed_mm": 0.3},
        {"trim": "1000x2000mm", "bleed": "3mm"},
        SCALES,
        ("page_fitted", "enlarged 10 times: 100 × 200 mm (3.94 × 7.87 in) to"),
        (1000, 2000),
        3,
    ),
    "twice the size": (
        {"trim_mm": (594, 840), "bleed_mm": 6},
        A3,
        {"scales": ["2:1"]},
        ("page_fitted", "reduced to 50 %: 594 × 840 mm"),
        (297, 420),
        3,
    ),
    "half size, lying, not to be turned": (
        HALF | {"trim_mm": (18 * IN, 12 * IN)},
        POSTER,
        SCALES,
        ("page_fitted", "was enlarged 2 times: 457.2 × 304.8 mm (18 × 12 in) to 914.4 × 609.6 mm (36 × 24 in)"),
        (36 * IN, 24 * IN),
        IN / 8,
    ),
    "half size, lying, to be turned": (
        HALF | {"trim_mm": (18 * IN, 12 * IN)},
        POSTER,
        SCALES | {"turn": True},
        (
            "page_fitted",
            "was turned by 90 degrees to the left and enlarged 2 times: 457.2 × 304.8 mm (18 × 12 in) to 609.6 × 914.4",
        ),
        (24 * IN, 36 * IN),
        IN / 8,
    ),
    "half size, seen upright by Rotate": (
        HALF | {"trim_mm": (18 * IN, 12 * IN), "changes": {"/Rotate": 270}},
        POSTER,
        SCALES | {"turn": True},
        ("page_fitted", "was enlarged 2 times: 304.8 × 457.2 mm"),
        (24 * IN, 36 * IN),
        IN / 8,
    ),
    "half size in units of 2 points is full size": (
        HALF | {"changes": {"/UserUnit": 2}},
        POSTER,
        SCALES,
        ("unit_set", "it is in points now and prints at the same size."),
        (24 * IN, 36 * IN),
        IN / 8,
    ),
    "half size in units of half a point": (
        {"trim_mm": (24 * IN, 36 * IN), "bleed_mm": IN / 8, "changes": {"/UserUnit": 0.5}},
        POSTER,
        SCALES,
        ("page_fitted", "enlarged 2 times: 304.8 × 457.2 mm"),
        (24 * IN, 36 * IN),
        IN / 8,
    ),
    # A sizes: sides rounded to whole millimetres
    "A5 for A3 at 1:2": (
        {"trim_mm": (148, 210), "bleed_mm": 1.5},
        A3,
        SCALES,
        ("page_fitted", "Its shape is not quite the ordered one: 0.71 mm (0.028 in) falls off at the top and bottom."),
        (297, 420),
        3.01,
    ),
    "A4 for A3, with so much allowed": (
        {"trim_mm": (210, 297), "bleed_mm": 3},
        A3,
        {"enlarge": 42},
        ("page_fitted", "enlarged 1.414 times: 210 × 297 mm"),
        (297, 420),
        4.24,
    ),
    "A4 for A3": ({"trim_mm": (210, 297), "bleed_mm": 3}, A3, SCALES, None, (210, 297), 3),
    "A2 for A3, with so much allowed": (
        {"trim_mm": (420, 594), "bleed_mm": 5},
        A3,
        {"reduce": 30},
        ("page_fitted", "reduced to 70.71 %: 420 × 594 mm"),
        (297, 420),
        3.53,
    ),
    # a little off
    "0.8 % too small": (
        {"trim_mm": (594 * 0.992, 841 * 0.992), "bleed_mm": 3},
        {"trim": "A1", "bleed": "3mm"},
        {},
        ("page_fitted", "enlarged by 0.81 %: 589.2 × 834.3 mm"),
        (594, 841),
        3.02,
    ),
    "1.5 % too small": (
        {"trim_mm": (594 * 0.985, 841 * 0.985), "bleed_mm": 3},
        {"trim": "A1", "bleed": "3mm"},
        {},
        None,
        (594 * 0.985, 841 * 0.985),
        3,
    ),
    "bleed counted into the size": ({"trim_mm": (600, 847)}, {"trim": "A1"}, {"reduce": 5}, None, (600, 847), 3.175),
    "bleed counted into a square": (
        {"trim_mm": (506, 506)},
        {"trim": "500x500mm"},
        {"reduce": 5},
        None,
        (506, 506),
        3.175,
    ),
    "bleed counted in at half size": (
        {"trim_mm": (253, 253)},
        {"trim": "500x500mm"},
        {"scales": ["1:2"], "enlarge": 200},
        None,
        (253, 253),
        3.175,
    ),
    # another shape
    "18 x 24 in for 24 x 36 in": (
        {"trim_mm": (18 * IN, 24 * IN)},
        POSTER,
        {"enlarge": 900},
        None,
        (18 * IN, 24 * IN),
        IN / 8,
    ),
    # no trim box
    "half size without boxes": (
        {"trim_mm": (12 * IN, 18 * IN), "bleed_mm": 0, "boxes": False},
        POSTER,
        SCALES,
        ("page_fitted", "The file doesn't say where it is cut; that was told by its size."),
        (24 * IN, 36 * IN),
        0,
    ),
    "half size and half the bleed without boxes": (
        HALF | {"boxes": False},
        POSTER,
        SCALES,
        ("page_fitted", "enlarged 2 times: 304.8 × 457.2 mm"),
        (24 * IN, 36 * IN),
        IN / 8,
    ),
    "a tenth and 3 mm bleed without boxes": (
        {"trim_mm": (100, 200), "bleed_mm": 3, "boxes": False},
        {"trim": "1000x2000mm", "bleed": "3mm"},
        SCALES,
        ("page_fitted", "enlarged 10 times: 100 × 200 mm"),
        (1000, 2000),
        30,
    ),
    "half size and room for marks without boxes": (
        HALF | {"slug_mm": 15, "boxes": False},
        POSTER,
        SCALES,
        None,
        (12 * IN + 30 + IN / 8, 18 * IN + 30 + IN / 8),
        0,
    ),
    # units
    "unit 10": (
        {"trim_mm": (100, 200), "bleed_mm": 0.3, "changes": {"/UserUnit": 10}},
        {"trim": "1000x2000mm", "bleed": "3mm"},
        {},
        ("unit_set", "was written in another unit than points"),
        (1000, 2000),
        3,
    ),
    "unit 10, to be kept": (
        {"trim_mm": (100, 200), "bleed_mm": 0.3, "changes": {"/UserUnit": 10}},
        {"trim": "1000x2000mm", "bleed": "3mm"},
        {"plain_unit": False},
        None,
        (1000, 2000),
        3,
    ),
    "6 m need a unit of 2": (
        {"trim_mm": (100, 600), "bleed_mm": 0.3, "changes": {"/UserUnit": 10}},
        {"trim": "1000x6000mm", "bleed": "3mm"},
        {},
        ("unit_set", "was written in another unit"),
        (1000, 6000),
        3,
    ),
    "unit 1.5 with no size ordered": (
        {"trim_mm": (100, 200), "bleed_mm": 2, "changes": {"/UserUnit": 1.5}},
        {},
        {},
        ("unit_set", "was written in another unit"),
        (150, 300),
        3,
    ),
    # boxes that make no sense are left to the check
    "trim beyond the page": (
        HALF | {"changes": {"/TrimBox": Array([-9, 0, 850, 1300])}},
        POSTER,
        SCALES,
        None,
        None,
        None,
    ),
    "a page without width": (HALF | {"changes": {"/TrimBox": Array([5, 5, 5, 50])}}, POSTER, SCALES, None, None, None),
}


def step(**settings: object):
    kind = STEPS["fit_page"]
    return kind(kind.Settings(**settings))


def size_mm(job: Job) -> tuple[tuple[float, float], float]:
    with job.read() as pdf:
        boxes = read_boxes(pdf.pages[0])
    sides = [abs(one - other) for one, other in zip(boxes.trim, boxes.bleed, strict=True)]
    return tuple(side / MM for side in boxes.size(boxes.trim)), min(sides) * boxes.user_unit / MM  # type: ignore[return-value]


@pytest.mark.parametrize(("built", "ticket", "settings", "done", "trim", "bleed"), TABLE.values(), ids=TABLE.keys())
def test_pages(tmp_path, built, ticket, settings, done, trim, bleed):
    path = make_pdf(tmp_path / "art.pdf", **built)
    job = make_job(tmp_path, path, ticket=ticket)
    (record,) = run_steps(job, step(**settings))
    assert record.ended == "done", record.trace
    assert record.changed is (done is not None)
    if done is None:
        assert codes(job) == []
        assert job.artwork == path
    else:
        (finding,) = job.findings
        assert f"{finding.level} {finding.code}" == f"mended {done[0]}"
        assert done[1] in finding.message
        assert [words.split(":")[0] for words, _ in job.views["fit_page", done[0]]] == ["Before", "After"]
    if trim is not None:
        found, around = size_mm(job)
        assert found == pytest.approx(trim, abs=0.01)
        assert around == pytest.approx(bleed, abs=0.01)


ON_A2 = {"trim_mm": (420, 594), "bleed_mm": 0, "boxes": False}


def art_at(left: float, bottom: float, width: float, height: float) -> bytes:
    box = " ".join(f"{side * MM:.3f}" for side in (left, bottom, width, height))
    return f"1 g -99 -99 9999 9999 re f 0 0.5 0.3 0 k {box} re f".encode()


@pytest.mark.parametrize(
    ("content", "settings", "done", "bleed"),
    [
        (art_at(20, 50, 297, 420), {"cut_out": True}, ["mended cut_set"], 0),
        (art_at(20, 50, 303, 426), {"cut_out": True}, ["mended cut_set"], 3),
        (art_at(20, 50, 297, 420), {}, [], None),
        (art_at(20, 50, 210, 297), {"cut_out": True}, [], None),
        (art_at(-20, -50, 900, 900), {"cut_out": True}, [], None),
    ],
)
def test_a_larger_page_is_cut_around_its_art(tmp_path, content, settings, done, bleed):
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", content=content, **ON_A2), ticket=A3)
    run_steps(job, step(**settings))
    assert codes(job) == done
    if done:
        assert size_mm(job) == (pytest.approx((297, 420), abs=0.01), pytest.approx(bleed, abs=0.01))
        run_steps(job, *(STEPS[name]() for name in ("add_marks", "seal_pdf", "verify_result")))
        assert [code for code in codes(job) if code.startswith("hold")] == []


# ---- what must not have changed: the look

ART = b"""0.9 0.9 0.3 rg -9999 -9999 19998 19998 re f
/Pattern cs /Tiles scn 40 40 300 500 re f
q 1 0 0 1 20 0 cm /Soft gs 0.7 0.1 0.2 rg 300 100 300 900 re f Q
q 200 0 0 300 60 700 cm /Photo Do Q
0 0 0 rg 500 1000 200 30 re f 0 0.4 0.8 RG 8 w 100 650 m 700 1200 l S
"""
WIDE = {"trim_mm": (18 * IN, 12 * IN), "bleed_mm": IN / 16}


def drawn(path: Path, **built: object) -> Path:
    """Tiles, a soft mask, a picture, and a stamp with its own appearance."""
    make_pdf(path, content=ART, **built)  # type: ignore[arg-type]
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        tile = pdf.make_stream(b"0.2 0.2 0.9 rg 0 0 25 25 re f 1 1 1 rg 30 30 15 15 re f")
        for key, value in {
            "Type": Name.Pattern, "PatternType": 1, "PaintType": 1, "TilingType": 1, "BBox": Array([0, 0, 50, 50]),
            "XStep": 50, "YStep": 50, "Resources": Dictionary(), "Matrix": Array([1, 0, 0, 1, 11, 7]),
        }.items():  # fmt: skip
            tile["/" + key] = value
        fade = pikepdf.Object.parse(
            b"<< /ShadingType 2 /ColorSpace /DeviceGray /Coords [0 100 0 900] /Extend [true true] /Function "
            b"<< /FunctionType 2 /Domain [0 1] /C0 [0] /C1 [1] /N 1 >> >>"
        )
        mask = pdf.make_stream(b"/Fade sh")
        mask.Type, mask.Subtype, mask.BBox = Name.XObject, Name.Form, Array([0, 0, 2000, 2000])
        mask.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceGray)
        mask.Resources = Dictionary(Shading=Dictionary(Fade=fade))
        samples = bytes((x * 7 + y * 3 * channel) % 256 for y in range(32) for x in range(32) for channel in range(3))
        pdf.pages[0].obj.Resources = Dictionary(
            Pattern=Dictionary(Tiles=tile),
            ExtGState=Dictionary(Soft=Dictionary(SMask=Dictionary(S=Name.Luminosity, G=mask))),
            XObject=Dictionary(Photo=embed_picture(pdf, 32, 32, data=samples)),
        )
        look = pdf.make_stream(b"0 0.6 0.2 rg 0 0 100 50 re f 1 1 1 rg 10 10 30 30 re f")
        look.Type, look.Subtype, look.BBox = Name.XObject, Name.Form, Array([0, 0, 100, 50])
        stamp = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, Rect=Array([550, 300, 750, 400]), F=4)
        stamp.AP = Dictionary(N=look)
        pdf.pages[0].obj.Annots = Array([pdf.make_indirect(stamp)])
        pdf.save(path)
    return path


LOOKS = {
    "enlarged": (HALF, {}, 0),
    "enlarged and turned": (WIDE, {"turn": True}, 1),
    "seen by Rotate": (WIDE | {"changes": {"/Rotate": 90}}, {}, 0),
    "upside down by Rotate": (HALF | {"changes": {"/Rotate": 180}}, {}, 0),
    "Rotate and turned": (HALF | {"changes": {"/Rotate": 90}}, {"turn": True}, 1),
    "in units of 2 points": (HALF | {"changes": {"/UserUnit": 2}}, {}, 0),
    "media begins elsewhere": (
        HALF | {"bleed_mm": 0, "changes": {"/MediaBox": Array([-100, -50, 964, 1400])}},
        {},
        0,
    ),
}


@pytest.mark.parametrize("name", LOOKS)
def test_it_looks_the_same_at_the_new_size(tmp_path, name):
    """By PDFium, each at the resolution that gives the same pixels."""
    built, settings, turns = LOOKS[name]
    path = drawn(tmp_path / "art.pdf", **built)
    job = make_job(tmp_path, path, ticket=POSTER)
    run_steps(job, step(**SCALES, **settings))
    assert codes(job) in (["mended page_fitted"], ["mended unit_set"])
    scale = 1 if codes(job) == ["mended unit_set"] else 2
    was, came = render_page(path, 1, 24 * scale), render_page(job.artwork, 1, 24)
    assert came.rotate == 0
    turned = was.picture.rotate(90 * turns, expand=True)
    assert turned.size == came.picture.size
    one, other = (np.asarray(picture.reduce(3), float) for picture in (turned, came.picture))
    assert one.std() > 30
    assert np.abs(one - other).mean() < 1.5


def test_the_page_itself_is_plain_afterwards(tmp_path):
    built = WIDE | {
        "changes": {"/Rotate": 90, "/CropBox": Array([0, 0, 1305, 873]), "/ArtBox": Array([9, 9, 900, 800])}
    }
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", **built), ticket=POSTER)
    run_steps(job, step(**SCALES))
    with job.read() as pdf:
        boxes, page = read_boxes(pdf.pages[0]), pdf.pages[0].obj
        assert (boxes.rotate, boxes.user_unit, boxes.media[:2]) == (0, 1, (0, 0))
        assert boxes.size(boxes.trim) == pytest.approx((24 * INCH, 36 * INCH), abs=0.001)
        assert boxes.trim.within(boxes.bleed)
        assert boxes.bleed.within(boxes.media, 0.001)
        assert {"CropBox", "ArtBox"} <= boxes.declared
        assert "/UserUnit" not in page


def test_a_page_tree_that_turns_and_crops_is_overruled(tmp_path):
    path = make_pdf(tmp_path / "a.pdf", **WIDE)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        tree = pdf.Root.Pages
        tree.Rotate, tree.CropBox, tree.MediaBox = 90, pdf.pages[0].obj.MediaBox, pdf.pages[0].obj.MediaBox
        tree.Resources = Dictionary(Properties=Dictionary(Own=Dictionary()))
        for key in ("/MediaBox", "/Resources"):
            del pdf.pages[0].obj[key]
        pdf.save(path)
    job = make_job(tmp_path, path, ticket=POSTER)
    run_steps(job, step(**SCALES))
    with job.read() as pdf:
        boxes = read_boxes(pdf.pages[0])
        assert boxes.seen_size(boxes.trim) == pytest.approx((24 * INCH, 36 * INCH), abs=0.001)
        assert "/Own" in pdf.pages[0].obj.Resources.XObject.Artwork.Resources.Properties


def test_what_lies_just_off_the_sheet_is_kept_for_bleed(tmp_path):
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", **HALF), ticket=POSTER)
    run_steps(job, step(**SCALES))
    with job.read() as pdf:
        box = [float(side) for side in pdf.pages[0].obj.Resources.XObject.Artwork.BBox]
    assert box[:2] == pytest.approx([-INCH / 2, -INCH / 2])


def test_a_form_field_with_a_state_that_is_no_utf_8(tmp_path):
    """Names are bytes (ISO 32000-1 7.3.5); a real form has one."""
    path = make_pdf(tmp_path / "a.pdf", **HALF)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        states = pikepdf.Object.parse(b"<< /Client#90s << >> /Off << >> >>")
        look = pdf.make_stream(b"")
        look.Type, look.Subtype, look.BBox = Name.XObject, Name.Form, Array([0, 0, 10, 20])
        for state in states.keys():  # noqa: SIM118
            states[state] = look
        box = Dictionary(
            Type=Name.Annot, Subtype=Name.Widget, Rect=Array([10, 20, 30, 60]), F=4, AP=Dictionary(N=states)
        )
        pdf.pages[0].obj.Annots = Array([pdf.make_indirect(box)])
        pdf.Root.AcroForm = Dictionary(Fields=Array(list(pdf.pages[0].obj.Annots)))
        pdf.pages[0].obj.Rotate = 180
        pdf.save(path)
    job = make_job(tmp_path, path, ticket=POSTER)
    run_steps(job, step(**SCALES))
    assert codes(job) == ["mended page_fitted"]
    with job.read() as pdf:
        (box,) = pdf.pages[0].obj.Annots
        media = [float(side) for side in pdf.pages[0].obj.MediaBox]
        assert [float(side) for side in box.Rect] == pytest.approx(
            [media[2] - 60, media[3] - 120, media[2] - 20, media[3] - 40]
        )
        (turned, _) = box.AP.N.values()
        assert [float(number) for number in turned.Matrix] == [-1, 0, 0, -1, 0, 0]


def test_several_pages_are_told_once(tmp_path):
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", pages=3, **HALF), ticket=POSTER | {"pages": 3})
    run_steps(job, step(**SCALES))
    (finding,) = job.findings
    assert finding.message.startswith("Each of pages 1, 2 and 3 was enlarged 2 times")
    assert set(job.moved) == {1, 2, 3}


def test_a_job_that_is_held_is_still_fitted(tmp_path):
    """So that the checks after it judge it at final size, and one run tells everything."""
    job = make_job(tmp_path, make_pdf(tmp_path / "a.pdf", **HALF), ticket=POSTER)
    job.hold("earlier", "Something else is wrong.")
    run_steps(job, step(**SCALES))
    assert codes(job) == ["hold earlier", "mended page_fitted"]


def test_damaged_content_is_held(tmp_path):
    path = make_pdf(tmp_path / "a.pdf", **HALF)
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        broken = pikepdf.Stream(pdf, b"no deflate")
        broken.Filter = Name.FlateDecode
        pdf.pages[0].obj.Contents = pdf.make_indirect(broken)
        pdf.save(path)
    job = make_job(tmp_path, path, ticket=POSTER)
    (record,) = run_steps(job, step(**SCALES))
    assert (record.ended, codes(job)) == ("held", ["hold not_fitted"])
    assert "drawing can't be read" in job.findings[0].message


@pytest.mark.parametrize("scale", ["2", "half", "1:0", "1:2:3", 2, "1:10000"])
def test_scales_are_written_as_drawing_to_print(scale):
    with pytest.raises(ValueError, match="is not a scale"):
        step(scales=[scale])


# ---- the whole chain


def chain(**settings: object):
    order = list(POSTER_CHAIN)
    if "fit_page" in order:
        order.remove("fit_page")
    if settings:
        order.insert(order.index("check_document"), "fit_page")
    return [step(**settings) if name == "fit_page" else STEPS[name]() for name in order]


def photo(pdf: pikepdf.Pdf, ppi: float) -> pikepdf.Stream:
    """4 x 3 in at half size."""
    side = round(4 * ppi), round(3 * ppi)
    return embed_picture(
        pdf, *side, data=bytes(np.random.default_rng(1).integers(60, 200, side[0] * side[1] * 3, np.uint8))
    )


def poster_at_half_size(path: Path, ppi: float = 320) -> Path:
    content = b"0.6 0.2 0 0.1 k -9999 -9999 19998 19998 re f q 288 0 0 216 200 600 cm /Photo Do Q"
    make_pdf(path, content=content, **HALF)  # type: ignore[arg-type]
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(Photo=photo(pdf, ppi)))
        pdf.save(path)
    return path


@pytest.mark.parametrize(
    ("settings", "ppi", "held"),
    [
        (SCALES, 320, []),
        ({}, 320, ["wrong_size"]),
        (SCALES, 200, ["coarse_picture"]),  # 100 ppi at final size, though 200 in the file
    ],
)
def test_a_poster_at_half_size(tmp_path, settings, ppi, held):
    path = poster_at_half_size(tmp_path / "half.pdf", ppi)
    job = make_job(tmp_path, path, ticket=POSTER, opened=False)
    records = run_steps(job, *chain(**settings))
    found = [finding.code for finding in job.findings if finding.level == "hold"]
    assert found[:1] == held
    assert not [record.trace for record in records if record.trace]
    if not held:
        with pikepdf.open(job.artwork) as pdf:
            boxes = read_boxes(pdf.pages[0])
        assert boxes.size(boxes.trim) == pytest.approx((24 * INCH, 36 * INCH), abs=0.01)


# ---- real posters


@pytest.mark.parametrize("name", ["bn-ibf__bn_poster", "eop__BoxCard", "govdesign__Poster_Pride", "plakat__plakat"])
def test_real_posters_look_the_same_at_twice_the_size(tmp_path, name):
    path = CORPUS / f"{name}.pdf"
    if not path.is_file():
        pytest.skip("the corpus of real posters is not beside this checkout")
    job = make_job(tmp_path, path, ticket={}, opened=False)
    run_steps(job, STEPS["open_pdf"]())
    with job.read() as pdf:
        boxes, count = read_boxes(pdf.pages[0]), len(pdf.pages)
    wide, high = (side * 2 / MM for side in boxes.seen_size(boxes.trim))
    job.ticket = job.ticket.model_copy(
        update={"trim": parse_size(f"{high:.3f}x{wide:.3f}mm"), "bleed": 0.0, "pages": count}
    )
    opened = job.artwork
    run_steps(job, step(scales=["1:2"], turn=True))
    assert "mended page_fitted" in codes(job)
    ppi = 600 / max(boxes.seen_size(boxes.trim)) * 72
    was, came = (
        render_page(opened, 1, ppi).picture.rotate(90, expand=True),
        render_page(job.artwork, 1, ppi / 2).picture,
    )
    one, other = (np.asarray(picture.resize(was.size).reduce(3), float) for picture in (was, came))
    assert np.abs(one - other).mean() < 4  # letters drawn turned are not those drawn upright and then turned
