"""What check_pictures says about placed pictures: one table of small real PDFs."""

import math
import random

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name, Stream

from hotfolder.loading import load_plugins
from hotfolder.testing import codes, embed_picture, make_job, make_pdf, run_steps

# All pictures stand at the inch: 1 in = 72 pt, so a picture of n pixels placed 72 pt wide has n ppi.
AT = "1 0 0 1 100 100 cm"

# content, ticket, settings -> findings as (level code, words, measured, required)
TABLE = {
    "none": ("0 0 9 9 re f", {}, {}, []),
    "200 ppi": (f"q {AT} 72 0 0 72 0 0 cm /I200 Do Q", {}, {}, []),
    "exactly as ordered is enough": (f"q {AT} 72 0 0 72 0 0 cm /I150 Do Q", {}, {}, []),
    "as ordered, give or take rounding": (f"q {AT} 72.02 0 0 72 0 0 cm /I150 Do Q", {}, {}, []),
    "a tenth less than ordered": (
        f"q {AT} 80 0 0 80 0 0 cm /I150 Do Q",
        {},
        {},
        [
            (
                "note modest_picture",
                "has 135 pixels per inch at that size, a little less than the 150 that were asked for",
                "135 ppi",
                "150 ppi",
            )
        ],
    ),
    "a little more than a tenth less": (
        f"q {AT} 80.6 0 0 80.6 0 0 cm /I150 Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 134", "134 ppi", "150 ppi")],
    ),
    "a shop that wants plenty": (
        f"q {AT} 72 0 0 72 0 0 cm /I150 Do Q",
        {},
        {"note_below": 125},
        [("note modest_picture", "has 150 pixels per inch at that size", "150 ppi", "187.5 ppi")],
    ),
    "too coarse": (
        f"q {AT} 144 0 0 144 0 0 cm /I200 Do Q",
        {},
        {},
        [
            (
                "hold coarse_picture",
                "A picture of 200 × 200 pixels, 50.8 × 50.8 mm (2 × 2 in), has only 100 pixels per inch at that size; "
                "150 are needed, or it prints blurred",
                "100 ppi",
                "150 ppi",
            )
        ],
    ),
    "too coarse for this ticket": (
        f"q {AT} 72 0 0 72 0 0 cm /I200 Do Q",
        {"least_ppi": 300},
        {},
        [("hold coarse_picture", "300 are needed", "200 ppi", "300 ppi")],
    ),
    "coarse, and the shop allows it": (
        f"q {AT} 144 0 0 144 0 0 cm /I200 Do Q",
        {},
        {"hold_below": 60},
        [("note modest_picture", "has 100 pixels per inch", "100 ppi", "150 ppi")],
    ),
    "through several transformations": (
        f"q {AT} 2 0 0 2 0 0 cm q .5 0 0 .5 0 0 cm 144 0 0 144 0 0 cm /I200 Do Q Q",
        {},
        {},
        [("hold coarse_picture", "has only 100", "100 ppi", "150 ppi")],
    ),
    "after Q it is small again": (f"q {AT} 9 0 0 9 0 0 cm Q q {AT} 72 0 0 72 0 0 cm /I200 Do Q", {}, {}, []),
    "turned by 30 degrees": (f"q {AT} 62.3538 36 -36 62.3538 0 0 cm /I200 Do Q", {}, {}, []),
    "mirrored": (
        f"q {AT} -72 0 0 72 72 0 cm /I200 Do Q",
        {},
        {},
        [("note mirrored_picture", "A picture is shown mirrored.", "1 mirrored", None)],
    ),
    "mirrored, and small": (f"q {AT} -70 0 0 70 72 0 cm /I200 Do Q", {}, {}, []),
    "mirrored both ways is turned": (f"q {AT} -72 0 0 -72 72 72 cm /I200 Do Q", {}, {}, []),
    "skewed by 30 degrees: a side's own length counts": (
        f"q {AT} 72 0 36 62.3538 0 0 cm /I200 Do Q",
        {},
        {},
        [("note skewed_picture", "is skewed: its sides are no longer at right angles", None, "sides at right angles")],
    ),
    "skewed by less than anyone sees": (f"q {AT} 72 0 2 72 0 0 cm /I200 Do Q", {}, {}, []),
    "flat, so its few pixels are enough": (
        f"q {AT} 144 0 0 144 0 0 cm /Smooth Do Q",
        {},
        {},
        [("note smooth_picture", "only 20 pixels per inch, but nothing in it but even tones", "20 ppi", None)],
    ),
    "a gentle gradient": (
        f"q {AT} 144 0 0 144 0 0 cm /Ramp Do Q",
        {},
        {},
        [("note smooth_picture", "", "20 ppi", None)],
    ),
    "flat, but its mask is not": (
        f"q {AT} 144 0 0 144 0 0 cm /Shadow Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 20", "20 ppi", "150 ppi")],
    ),
    "a soft shadow: flat, with a blurred mask": (
        f"q {AT} 32 0 0 32 0 0 cm /Soft Do Q",
        {},
        {},
        [("note smooth_picture", "only 90 pixels per inch", "90 ppi", None)],
    ),
    "a soft shadow whose pixels show": (
        f"q {AT} 144 0 0 144 0 0 cm /Soft Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 20", "20 ppi", "150 ppi")],
    ),
    "a picture with a blurred mask": (
        f"q {AT} 32 0 0 32 0 0 cm /Faded Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 90", "90 ppi", "150 ppi")],
    ),
    "a shadow with a hard edge": (
        f"q {AT} 32 0 0 32 0 0 cm /Hard Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 90", "90 ppi", "150 ppi")],
    ),
    "squares of four pixels lose nothing": (f"q {AT} 144 0 0 144 0 0 cm /Squares4 Do Q", {}, {}, []),
    "the same in black and white": (f"q {AT} 144 0 0 144 0 0 cm /Bits8 Do Q", {}, {}, []),
    "squares as a stencil": (f"q {AT} 144 0 0 144 0 0 cm /Stencil8 Do Q", {}, {}, []),
    "squares of three pixels": (
        f"q {AT} 144 0 0 144 0 0 cm /Squares3 Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 20", "20 ppi", "150 ppi")],
    ),
    "a photograph enlarged pixel by pixel": (
        f"q {AT} 144 0 0 144 0 0 cm /Blown Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 20", "20 ppi", "150 ppi")],
    ),
    "a disc is no square": (
        f"q {AT} 144 0 0 144 0 0 cm /Disc Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 20", "20 ppi", "150 ppi")],
    ),
    "squares in a disc": (
        f"q {AT} 144 0 0 144 0 0 cm /Round Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 20", "20 ppi", "150 ppi")],
    ),
    "stretched squares": (
        f"q {AT} 144 0 0 72 0 0 cm /Squares4 Do Q",
        {},
        {},
        [("note stretched_picture", "is stretched", "20 × 40 ppi", None)],
    ),
    "coarse, but cropped away": (f"q 1 1 5 5 re W n {AT} 144 0 0 144 0 0 cm /I200 Do Q", {}, {}, []),
    "coarse and cropped away, and again where it shows": (
        f"q 1 1 5 5 re W n {AT} 144 0 0 144 0 0 cm /I200 Do Q q {AT} 144 0 0 144 0 0 cm /I200 Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 100", "100 ppi", "150 ppi")],
    ),
    "heavy, and cropped away": (
        f"q 1 1 5 5 re W n {AT} 144 0 0 144 0 0 cm /Heavy Do Q",
        {},
        {},
        [("note hidden_picture", "A picture does not print at all", "1.5 MB of pictures that don't show", None)],
    ),
    "heavy, and half cropped": (f"q 150 150 200 200 re W n {AT} 144 0 0 144 0 0 cm /Heavy Do Q", {}, {}, []),
    "heavy, and far too fine": (
        f"q {AT} 72 0 0 72 0 0 cm /Heavy Do Q",
        {},
        {},
        [
            (
                "note too_fine_picture",
                "A picture has 700 pixels per inch: far more",
                "700 ppi, 1.5 MB",
                "at most 600 ppi",
            )
        ],
    ),
    "heavy, and a shop that doesn't mind": (f"q {AT} 72 0 0 72 0 0 cm /Heavy Do Q", {}, {"least_weight": 5}, []),
    "the lesser of both sides": (
        f"q {AT} 144 0 0 72 0 0 cm /I200 Do Q",
        {},
        {},
        [
            ("hold coarse_picture", "50.8 × 25.4 mm", "100 ppi", "150 ppi"),
            (
                "note stretched_picture",
                "is stretched: more in one direction",
                "100 × 200 ppi",
                "the same across and up",
            ),
        ],
    ),
    "in a form": (
        f"q {AT} 2 0 0 2 0 0 cm /Form Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 100", "100 ppi", "150 ppi")],
    ),
    "in a pattern": (
        "/Pattern cs /Tiles scn 100 100 72 72 re f",
        {},
        {},
        [("hold coarse_picture", "has only 100", "100 ppi", "150 ppi")],
    ),
    "a letter that is a picture": (
        "BT /Letters 144 Tf 1 0 0 1 100 100 Tm (a) Tj ET",
        {},
        {},
        [("hold coarse_picture", "50.8 × 50.8 mm (2 × 2 in), has only 100", "100 ppi", "150 ppi")],
    ),
    "a letter that is a picture, shown small": ("BT /Letters 12 Tf 6 0 0 6 100 100 Tm (a) Tj ET", {}, {}, []),
    "a letter that is a picture, small and large": (
        "BT /Letters 1 Tf 72 0 0 72 100 100 Tm (a) Tj 2 0 0 2 0 0 Tm 0 Ts 100 0 Td /Letters 100 Tf (a) Tj ET",
        {},
        {},
        [("hold coarse_picture", "placed 2 times", "72 ppi", "150 ppi")],
    ),
    "inside the content": (
        f"q {AT} 72 0 0 72 0 0 cm BI /W 2 /H 2 /BPC 8 /CS /G ID abcd EI Q",
        {},
        {},
        [("hold coarse_picture", "2 × 2 pixels", "2 ppi", "150 ppi")],
    ),
    "the same inside the content twice": (
        f"q {AT} 72 0 0 72 0 0 cm BI /W 2 /H 2 /BPC 8 /CS /G ID abcd EI BI /W 2 /H 2 /BPC 8 /CS /G ID efgh EI Q",
        {},
        {},
        [("hold coarse_picture", "placed 2 times", "2 ppi", "150 ppi")],
    ),
    "placed twice: told where it is largest": (
        f"q {AT} 72 0 0 72 0 0 cm /I200 Do Q q {AT} 144 0 0 144 0 0 cm /I200 Do Q",
        {},
        {},
        [("hold coarse_picture", "50.8 × 50.8 mm (2 × 2 in), placed 2 times,", "100 ppi", "150 ppi")],
    ),
    "line art": (
        f"q {AT} 72 0 0 72 0 0 cm /Line Do Q",
        {},
        {},
        [("note coarse_line_art", "line art of 400 pixels per inch; below 600", "400 ppi", "600 ppi")],
    ),
    "a stencil is line art": (
        f"q {AT} 72 0 0 72 0 0 cm /Stencil Do Q",
        {},
        {},
        [("note coarse_line_art", "line art of 400 pixels per inch", "400 ppi", "600 ppi")],
    ),
    "line art, and the shop prints coarser": (
        f"q {AT} 72 0 0 72 0 0 cm /Line Do Q",
        {},
        {"least_line_art_ppi": 300},
        [],
    ),
    "line art too coarse for anything": (
        f"q {AT} 288 0 0 288 0 0 cm /Line Do Q",
        {},
        {},
        [("hold coarse_picture", "has only 100", "100 ppi", "150 ppi")],
    ),
    "a flat tone of one pixel": (f"q {AT} 720 0 0 720 0 0 cm /Pixel Do Q", {}, {}, []),
    "a gradient, one pixel wide": (f"q {AT} 720 0 0 72 0 0 cm /Strip Do Q", {}, {}, []),
    "smaller than 2 mm": (f"q {AT} 5 0 0 5 0 0 cm /I2 Do Q", {}, {}, []),
    "smaller than 2 mm, and asked for": (
        f"q {AT} 5 0 0 5 0 0 cm /I2 Do Q",
        {},
        {"least_side": "1mm"},
        [("hold coarse_picture", "2 × 2 pixels", "29 ppi", "150 ppi")],
    ),
    "in the slug": ("q 9 0 0 9 2 2 cm /I2 Do Q", {}, {}, []),
    "outside of the page": ("q 99 0 0 99 -200 -200 cm /I2 Do Q", {}, {}, []),
    "half in the bleed": ("q 99 0 0 99 -20 200 cm /I2 Do Q", {}, {}, [("hold coarse_picture", "2 × 2", None, None)]),
    "without area": (f"q {AT} 72 0 0 0 0 0 cm /I200 Do Q q {AT} 0 0 0 0 0 0 cm /I200 Do Q", {}, {}, []),
    "without pixels": (f"q {AT} 72 0 0 72 0 0 cm /Broken Do Q", {}, {}, []),
    "not there": ("/Nowhere Do", {}, {}, []),
}


DOWN, ACROSS = np.mgrid[0:40, 0:40]
FAR = np.hypot(DOWN - 20, ACROSS - 20)  # from the middle
EDGE = 12  # where the shadows below end
BLURRED = 127.5 + 127.5 * np.vectorize(math.erf)((EDGE - FAR) / 1.5 / math.sqrt(2))  # by a Gaussian curve of 1.5 pixels


def resources(pdf: pikepdf.Pdf) -> Dictionary:
    def bits(**entries) -> Stream:
        rows = np.packbits(np.arange(400)[:, None] > np.arange(400)[None], axis=1).tobytes()  # black below a slant
        return Stream(pdf, rows, Subtype=Name.Image, Width=400, Height=400, BitsPerComponent=1, **entries)

    def gray(levels, mask=None) -> Stream:
        found = embed_picture(pdf, 40, 40, "/DeviceGray", levels.astype(np.uint8).tobytes())
        if mask is not None:
            found.SMask = pdf.make_indirect(gray(mask))
        return pdf.make_indirect(found)

    def one_bit(**entries) -> Stream:
        rows = np.packbits(squares(8) > 0, axis=1).tobytes()
        picture = Stream(pdf, rows, Subtype=Name.Image, Width=40, Height=40, BitsPerComponent=1, **entries)
        return pdf.make_indirect(picture)

    def squares(side: int):
        return 255 * ((DOWN // side + ACROSS // side) % 2)

    def lively(width: int, height: int) -> Stream:
        return embed_picture(pdf, width, height, data=bytes(range(0, 250, 25)) * (width * height * 3 // 10 + 1))

    picture = pdf.make_indirect(lively(200, 200))
    inner = Dictionary(XObject=Dictionary(I=picture))
    form = Stream(pdf, b"72 0 0 72 0 0 cm /I Do", Subtype=Name.Form, BBox=Array([0, 0, 72, 72]), Resources=inner)
    tiles = Stream(pdf, b"72 0 0 72 0 0 cm /I Do", PatternType=1, PaintType=1, TilingType=1, XStep=72, YStep=72)
    tiles.BBox, tiles.Matrix, tiles.Resources = Array([0, 0, 72, 72]), Array([2, 0, 0, 2, 0, 0]), inner
    letters = Dictionary(Type=Name.Font, Subtype=Name.Type3, FontBBox=Array([0, 0, 1, 1]), FirstChar=97, LastChar=97)
    letters.CharProcs = Dictionary(a=Stream(pdf, b"1 0 d0 /I Do"))
    letters.FontMatrix, letters.Widths, letters.Resources = Array([1, 0, 0, 1, 0, 0]), Array([1]), inner
    letters.Encoding = Dictionary(Differences=Array([97, Name.a]))
    shadow = pdf.make_indirect(embed_picture(pdf, 40, 40))
    shadow.SMask = pdf.make_indirect(embed_picture(pdf, 40, 40, "/DeviceGray", bytes([0, 255] * 800)))
    broken = embed_picture(pdf, 2, 2)
    broken.Width = Name.Wide
    return Dictionary(
        Pattern=Dictionary(Tiles=tiles),
        Font=Dictionary(Letters=letters),
        XObject=Dictionary(
            I200=picture,
            I150=lively(150, 150),
            Smooth=pdf.make_indirect(embed_picture(pdf, 40, 40)),
            Ramp=pdf.make_indirect(embed_picture(pdf, 40, 40, "/DeviceGray", bytes(range(0, 200, 5)) * 40)),
            Heavy=pdf.make_indirect(embed_picture(pdf, 700, 700, data=random.Random(1).randbytes(700 * 700 * 3))),
            Shadow=shadow,
            Soft=gray(0 * FAR, BLURRED),
            Faded=gray(squares(1), BLURRED),
            Hard=gray(0 * FAR, 255 * np.clip(EDGE - FAR, 0, 1)),
            Squares4=gray(squares(4)),
            Blown=gray(DOWN // 4 * 67 % 256 // 2 + ACROSS // 4 * 89 % 256 // 2),
            Squares3=gray(squares(3)),
            Bits8=one_bit(ColorSpace=Name.DeviceGray),
            Stencil8=one_bit(ImageMask=True),
            Disc=gray(255 * (FAR < EDGE)),
            Round=gray(squares(4), 255 * (FAR < EDGE)),
            I2=embed_picture(pdf, 2, 2, data=bytes([9, 9, 9, 200, 200, 200] * 2)),
            Pixel=embed_picture(pdf, 1, 1),
            Strip=embed_picture(pdf, 1, 300),
            Line=bits(ColorSpace=Name.DeviceGray),
            Stencil=bits(ImageMask=True),
            Form=form,
            Broken=broken,
        ),
    )


def step(**settings):
    kind = load_plugins().steps["check_pictures"]
    return kind(kind.Settings(**settings))


def build(tmp_path, content, pages=1, **changes):
    path = make_pdf(
        tmp_path / "poster.pdf", bleed_mm=3, slug_mm=10, content=content.encode(), pages=pages, changes=changes
    )
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        shared = pdf.make_indirect(resources(pdf))
        for page in pdf.pages:
            page.obj.Resources = shared
        pdf.save(path)
    return path


@pytest.mark.parametrize(("content", "ticket", "settings", "expected"), TABLE.values(), ids=TABLE.keys())
def test_findings(tmp_path, content, ticket, settings, expected):
    job = make_job(tmp_path, build(tmp_path, content), ticket=ticket)
    (record,) = run_steps(job, step(**settings))
    assert record.ended == "done", record.trace
    assert codes(job) == [line[0] for line in expected]
    for finding, (_, words, measured, required) in zip(job.findings, expected, strict=True):
        assert words in finding.message
        assert measured in (None, finding.measured)
        assert required in (None, finding.required)
        assert finding.page == (None if finding.code == "hidden_picture" else 1)
        assert finding.box or finding.code == "hidden_picture"
        assert finding.mend
    assert bool(record.told) is not job.held


def test_user_units_count(tmp_path):
    job = make_job(tmp_path, build(tmp_path, f"q {AT} 72 0 0 72 0 0 cm /I200 Do Q", **{"/UserUnit": 2}))
    run_steps(job, step())
    assert [(f.code, f.measured) for f in job.findings] == [("coarse_picture", "100 ppi")]


def test_how_to_mend_it(tmp_path):
    job = make_job(tmp_path, build(tmp_path, f"q {AT} 144 0 0 144 0 0 cm /I200 Do Q"))
    run_steps(job, step())
    (finding,) = job.findings
    assert "at least 300 × 300 pixels" in finding.mend
    assert "no larger than 33.9 × 33.9 mm (1.33 × 1.33 in)" in finding.mend
    assert finding.box == (100, 100, 244, 244)


def test_a_picture_that_is_the_poster_is_not_told_to_be_placed(tmp_path):
    job = make_job(tmp_path, build(tmp_path, f"q {AT} 144 0 0 144 0 0 cm /I200 Do Q"))
    job.kind = "jpeg"
    run_steps(job, step())
    (finding,) = job.findings
    assert finding.mend.startswith("Drop the picture in its original quality, at least 300 × 300 pixels, or order a")


def test_a_note_says_that_nothing_must_be_done(tmp_path):
    job = make_job(tmp_path, build(tmp_path, f"q {AT} 72 0 0 72 0 0 cm /I200 Do Q"), ticket={"least_ppi": 210})
    run_steps(job, step())
    (finding,) = job.findings
    assert finding.code == "modest_picture"
    assert finding.mend.startswith("It can stay as it is. For more detail, place the picture")


def test_the_worst_are_told_and_the_rest_counted(tmp_path):
    """Twelve pictures inside the content, ever larger, so the last is the worst."""
    content = "".join(
        f"q {20 + size} 0 0 {20 + size} 100 100 cm BI /W 2 /H 2 /BPC 8 /CS /G ID abcd EI Q\n" for size in range(12)
    )
    job = make_job(tmp_path, build(tmp_path, content))
    run_steps(job, step(most_findings=3))
    assert codes(job) == ["hold coarse_picture"] * 4
    assert [finding.box.width for finding in job.findings[:3]] == pytest.approx([31, 30, 29])
    assert job.findings[3].message == "9 more pictures: the same. The next has 5 pixels per inch."


def test_pages_are_named_where_there_are_several(tmp_path):
    job = make_job(tmp_path, build(tmp_path, f"q {AT} 144 0 0 144 0 0 cm /I200 Do Q", pages=2))
    run_steps(job, step())
    (finding,) = job.findings
    assert finding.message.startswith("On page 1, a picture of 200 × 200 pixels")
    assert "placed 2 times" in finding.message
