"""Plates by a table: what is painted, and how much of each ink stands at a place. Reckoned by hand from ISO 32000-1."""

import io

import numpy as np
import pytest
from inked import BARE, GROUND, LOWER, PAINTED, SPOTTED, UPPER, page
from pages import CONDITION, RGB_SPOT, Page

from hotfolder.finding import Box
from hotfolder.pdf.plates import PROCESS, Plates, make_plates, proof_picture


def plates(made: Page, content: str, **options: object) -> Plates:
    made.obj.Contents = made.pdf.make_stream(content.encode("latin-1"))
    out = io.BytesIO()
    made.pdf.save(out)
    return make_plates(out.getvalue(), 1, 72, CONDITION, **options)  # type: ignore[arg-type]


def at(found: Plates, x: int, y: int) -> list[float]:
    """Percent of each ink at a place given in points from the lower left corner."""
    return [float(found.coverage[ink][200 - y, x]) / 2.55 for ink in found.inks]


@pytest.mark.parametrize("case", PAINTED)
def test_each_ink_of_what_is_painted(case: str) -> None:
    content, upper, lower = PAINTED[case]
    found = plates(page(), GROUND + content)
    assert found.inks == (*PROCESS, "Orange")
    for place, wanted in ((UPPER, upper), (LOWER, lower)):
        for ink, came, amount in zip(found.inks, at(found, *place), wanted or [None] * 5, strict=True):
            assert amount is None or came == pytest.approx(amount, abs=0.9), f"{ink} at {place}"
    assert not found.doubts


def test_beside_what_is_painted_the_ground_is_untouched() -> None:
    found = plates(page(), GROUND + "/Over gs 0 0 0 1 k 50 0 100 200 re f")
    assert at(found, 20, 150) == pytest.approx(BARE, abs=0.5)
    assert at(found, 20, 30) == pytest.approx(SPOTTED, abs=0.5)


def test_text_left_out_of_a_plate_still_moves_what_follows() -> None:
    made = page()
    # "II" in black overprints and is left out of cyan; the cyan rule of letters behind it stays where it was.
    content = "BT /F1 60 Tf 20 100 Td 0 0 0 1 k {gs} (II) Tj 1 0 0 0 k /Knock gs (II) Tj ET"
    made.put("ExtGState", "Knock", "<< /OP false /op false >>")
    spared, painted = (plates(made, content.format(gs=gs)).coverage["Cyan"] for gs in ("/Over gs", ""))
    assert spared.any()
    assert np.array_equal(spared, painted)


def test_a_clip_made_by_what_is_left_out_still_clips() -> None:
    found = plates(page(), "/Over gs q 50 50 50 50 re W 0 0 0 1 k f 1 0 0 0 k 0 0 200 200 re f Q")
    assert at(found, 75, 75)[0] == pytest.approx(100)
    assert at(found, 150, 75)[0] == 0


def test_spot_inks_by_name_and_their_stand_ins() -> None:
    found = plates(page(), "/Second cs 1 scn 0 0 100 200 re f /Spot cs .5 scn 100 0 100 200 re f")
    assert found.inks == (*PROCESS, "Orange", "Varnish")
    assert at(found, 50, 100) == pytest.approx([0, 0, 0, 0, 0, 100])
    assert found.stand_ins["Orange"][255] == pytest.approx([0, 0.6, 1, 0], abs=0.005)
    assert found.stand_ins["Varnish"][0] == pytest.approx([0, 0, 0, 0])
    assert found.total()[100, 50] == 255


def test_colours_of_screens_are_shown_as_their_conversion() -> None:
    made = page()
    made.put("ColorSpace", "RgbSpot", RGB_SPOT)
    found = plates(made, "0 0 0 rg 0 0 100 200 re f 1 1 1 rg 100 0 50 200 re f /RgbSpot cs 1 scn 150 0 50 200 re f")
    assert at(found, 50, 100) == pytest.approx([0, 0, 0, 100, 0])
    assert at(found, 125, 100) == pytest.approx([0] * 5)
    assert at(found, 175, 100) == pytest.approx([0, 0, 0, 0, 100])


def test_the_page_is_seen_as_it_stands() -> None:
    made = page()
    made.obj.Rotate, made.obj.UserUnit = 90, 2
    found = plates(made, "1 0 0 0 k 0 0 100 50 re f")
    assert found.coverage["Cyan"].shape == (400, 400)
    assert found.coverage["Cyan"][100, 50] == 255  # the lower left corner comes to the upper left
    assert not found.coverage["Cyan"][300].any()
    left, top, right, bottom = found.place(Box(0, 0, 100, 50))
    assert (left, top, right, bottom) == (0, 0, 100, 200)
    assert found.box(left, top, right, bottom) == pytest.approx((0, 0, 100, 50))
    assert found.square_points() == pytest.approx(1)


def test_part_of_a_page_and_a_later_page() -> None:
    made = page()
    made.pdf.pages.append(made.pdf.pages[0])
    made.pdf.pages[1].obj.Contents = made.pdf.make_stream(b"0 1 0 0 k 0 0 100 200 re f")
    out = io.BytesIO()
    made.pdf.save(out)
    found = make_plates(out.getvalue(), 2, 144, CONDITION, Box(50, 50, 150, 100))
    assert found.coverage["Magenta"].shape == (100, 200)
    assert found.coverage["Magenta"][50, 50] == 255
    assert found.coverage["Magenta"][50, 150] == 0
    assert not found.coverage["Cyan"].any()


DOUBTED = {
    "a knockout group": ("/Knock Do", "a knockout group"),
    "blending in RGB": ("/Rgb Do", "transparency that mixes in RGB"),
    "a group that mixes with the ground, half seen": ("/Half gs /Sunk Do", "a see-through group"),
    "a picture that can't be read": ("q 9 0 0 9 0 0 cm /Bad Do Q", "a picture"),
}


@pytest.mark.parametrize("case", DOUBTED)
def test_what_plates_cannot_show_is_named(case: str) -> None:
    made = page()
    made.form("Knock", "/Half gs 1 0 0 0 k 0 0 99 99 re f", "/Group << /S /Transparency /K true >>")
    made.form("Rgb", "/Half gs 1 0 0 rg 0 0 99 99 re f", "/Group << /S /Transparency /I true /CS /DeviceRGB >>")
    made.form("Sunk", "/Multiply gs 1 0 0 0 k 0 0 99 99 re f", "/Group << /S /Transparency >>")
    made.put(
        "XObject",
        "Bad",
        made.stream("no", "/Subtype /Image /Width 9 /Height 9 /BitsPerComponent 8 /ColorSpace /DeviceRGB"),
    )
    content, what = DOUBTED[case]
    assert [doubt.what for doubt in plates(made, content).doubts if doubt.what.startswith(what)]


@pytest.mark.parametrize("plain", ["/Knock Do", "/Rgb Do", "/Half gs /Sunk Do", "/Multiply gs /Sunk2 Do"])
def test_opaque_groups_are_no_doubt(plain: str) -> None:
    made = page()
    made.form("Knock", "1 0 0 0 k 0 0 99 99 re f", "/Group << /S /Transparency /K true >>")
    made.form("Rgb", "1 0 0 rg 0 0 99 99 re f", "/Group << /S /Transparency /I true /CS /DeviceRGB >>")
    made.form("Sunk", "1 0 0 0 k 0 0 99 99 re f", "/Group << /S /Transparency >>")
    made.form("Sunk2", "/Multiply gs 1 0 0 0 k 0 0 99 99 re f", "/Group << /S /Transparency /I true >>")
    assert not plates(made, plain).doubts


def test_a_page_that_is_not_there() -> None:
    out = io.BytesIO()
    page().pdf.save(out)
    with pytest.raises(ValueError, match="there is no page 2"):
        make_plates(out.getvalue(), 2, 72, CONDITION)
    with pytest.raises(ValueError, match="can't be opened"):
        make_plates(b"%PDF-1.7 no more", 1, 72, CONDITION)


def test_the_proof_shows_inks_as_the_condition_prints_them() -> None:
    found = plates(page(), "0 0 0 1 k 0 0 100 100 re f /Spot cs 1 scn 100 0 100 100 re f")
    proof = np.asarray(proof_picture(found, CONDITION)).astype(int)
    assert tuple(proof[50, 50]) == (255, 255, 255)  # bare paper
    assert proof[150, 50].max() < 60  # black ink
    red, green, blue = proof[150, 150]
    assert red > 220 > 150 > green - 20 > blue  # orange, by its stand-in of 60 % magenta and 100 % yellow
    paper = np.asarray(proof_picture(found, CONDITION, paper=True)).astype(int)[50, 50]
    assert 225 < paper.min() <= paper.max() < 255  # FOGRA39's paper is L* 95, a 0, b -2 in its characterisation data


COLOURED = {
    "k alone": "0 .5 0 0 k 0 0 200 200 re f",
    "k before a name": "0 .5 0 0 k/Over gs 0 0 200 200 re f",
    "k in a form": "/Inner Do",
    "a colour of a screen": "1 0 0 rg 0 0 200 200 re f",
    "registration colour": "/All cs 1 scn 0 0 200 200 re f",
    "a picture": "q 200 0 0 200 0 0 cm BI /W 1 /H 1 /BPC 8 /CS /CMYK ID \x00\xff\x00\x00 EI Q",
    "a mixture of inks": "/Mixed cs .5 .5 scn 0 0 200 200 re f",
}


@pytest.mark.parametrize("case", COLOURED)
def test_colour_is_found_wherever_it_stands(case: str) -> None:
    made = page()
    made.form("Inner", "0 .5 0 0 k 0 0 200 200 re f")
    made.put(
        "ColorSpace",
        "Mixed",
        "[/DeviceN [/Magenta /Black] /DeviceCMYK << /FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1] >>]",
    )
    made.obj.Resources.ColorSpace.Mixed[3] = made.pdf.make_indirect(
        made.stream("{ 0 3 1 roll 0 exch }", "/FunctionType 4 /Domain [0 1 0 1] /Range [0 1 0 1 0 1 0 1]")
    )
    assert at(plates(made, COLOURED[case]), 100, 100)[1] > 40


def test_a_page_in_black_has_empty_plates_of_the_other_inks() -> None:
    found = plates(page(), "0 0 0 rg 0 0 100 200 re f .5 g 100 0 100 200 re f BT /F1 30 Tf 9 9 Td (back to k) Tj ET")
    assert at(found, 50, 100) == [0, 0, 0, 100]
    assert [found.coverage[ink].any() for ink in PROCESS] == [False, False, False, True]
    assert len({plate.shape for plate in found.coverage.values()}) == 1
