"""Ink measured on plates made by hand: places over the limit, their size and box, and what lies around a box."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from hotfolder.finding import Box
from hotfolder.pdf.looking.coverage import (
    SQUARE_CM,
    Place,
    all_inks_meet,
    around,
    measure,
    neighbours,
    places_over,
    places_that_differ,
)
from hotfolder.pdf.plates import PROCESS, Plates

PIXEL_CM2 = (2.54 / 72) ** 2  # at 72 ppi a pixel is a point


def plates(rows: int = 200, columns: int = 300, rotate: int = 0, **inks: NDArray[np.uint8]) -> Plates:
    """A page at 72 ppi whose lower left corner is at 1000, 2000; process inks as given, else none."""
    none = np.zeros((rows, columns), np.uint8)
    wide, high = (rows, columns) if rotate % 180 else (columns, rows)
    return Plates(
        page=1,
        ppi=72,
        area=Box(1000, 2000, 1000 + wide, 2000 + high),
        rotate=rotate,
        inks=PROCESS,
        coverage={name: inks.get(name, none) for name in PROCESS},
        stand_ins={},
        doubts=(),
    )


def patch(
    top: int, left: int, bottom: int, right: int, value: int = 255, shape: tuple[int, int] = (200, 300)
) -> NDArray[np.uint8]:
    made = np.zeros(shape, np.uint8)
    made[top:bottom, left:right] = value
    return made


def test_a_square_centimetre_is_a_square_centimetre() -> None:
    """The inch is 25.4 mm by definition, the point 1/72 of it (ISO 32000-1 8.3.2.3)."""
    assert pytest.approx((72 / 2.54) ** 2) == SQUARE_CM


def test_a_place_over_the_limit() -> None:
    solid = patch(30, 60, 60, 120)
    (place,) = places_over(plates(Cyan=solid, Magenta=solid, Black=solid // 2), 240)
    assert place.peak == pytest.approx(250, abs=0.5)
    assert place.square_cm == pytest.approx(30 * 60 * PIXEL_CM2)
    assert place.box == (1060, 2140, 1120, 2170)
    assert places_over(plates(Cyan=solid, Magenta=solid, Black=solid // 2), 250) == []


def test_places_are_apart_if_paper_lies_between() -> None:
    both = patch(30, 30, 60, 60) | patch(30, 66, 60, 75)
    found = places_over(plates(Cyan=both, Magenta=both), 150)
    assert [round(place.square_cm / PIXEL_CM2) for place in found] == [900, 270]
    (one,) = neighbours(found, 6.5)
    assert (one.box, round(one.square_cm / PIXEL_CM2)) == (Box(1030, 2140, 1075, 2170), 1170)
    assert len(neighbours(found, 3)) == 2


def test_a_ring_of_pixels_is_judged_as_the_area_it_is() -> None:
    """A fine line of 400 % over paper is a third of that on average over the millimetre around it."""
    line = patch(0, 90, 200, 91)
    sheet = plates(Cyan=line, Magenta=line, Yellow=line, Black=line)
    assert places_over(sheet, 300) == []
    assert measure(sheet).peak_total == 400


def test_only_what_is_inside_the_box_counts() -> None:
    solid = patch(0, 0, 30, 300)
    sheet = plates(Cyan=solid, Magenta=solid)
    assert places_over(sheet, 150, Box(1000, 2000, 1300, 2170)) == []
    assert measure(sheet, Box(1000, 2170, 1300, 2200)).mean_total == 200
    assert measure(sheet, Box(0, 0, 1, 1)).mean_total == 0


@pytest.mark.parametrize(
    ("rotate", "box"),
    [
        (0, (1000, 2170, 1030, 2200)),
        (90, (1000, 2000, 1030, 2030)),
        (180, (1270, 2000, 1300, 2030)),
        (270, (1170, 2270, 1200, 2300)),
    ],
)
def test_boxes_are_in_the_pages_own_space(rotate: int, box: tuple[float, ...]) -> None:
    """The upper left corner of the picture, turned back (ISO 32000-1 table 30: clockwise)."""
    solid = patch(0, 0, 30, 30)
    (place,) = places_over(plates(rotate=rotate, Cyan=solid, Magenta=solid), 150)
    assert place.box == box


def test_figures_of_an_ink() -> None:
    use = measure(plates(Yellow=patch(0, 0, 100, 300, 51))).inks[2]
    assert (use.name, use.mean, use.peak) == ("Yellow", pytest.approx(10), pytest.approx(20))
    assert use.printed_cm2 == pytest.approx(100 * 300 * PIXEL_CM2)
    assert use.solid_cm2 == pytest.approx(use.printed_cm2 / 5)


def test_what_lies_around_a_box() -> None:
    ground = patch(0, 0, 200, 150, 102)
    ground[90:110, 40:60] = 255
    ringed = around(plates(Magenta=ground), Box(1040, 2090, 1060, 2110), 10)
    assert ringed["Magenta"] == pytest.approx(0.4)
    assert ringed["Cyan"] == 0
    assert around(plates(Magenta=ground), Box(0, 0, 9, 9), 4) == dict.fromkeys(PROCESS, 0.0)


def test_inks_meet() -> None:
    a, b = patch(0, 0, 50, 50), patch(0, 40, 50, 90)
    sheet = plates(Cyan=a, Magenta=a, Yellow=a, Black=b)
    assert all_inks_meet(sheet, Box(1000, 2100, 1100, 2200))
    assert not all_inks_meet(sheet, Box(1000, 2100, 1039, 2200))
    assert not all_inks_meet(sheet, Box(0, 0, 1, 1))


def test_places_that_differ() -> None:
    one, other = plates(Cyan=patch(10, 10, 20, 30)), plates(Cyan=patch(10, 10, 20, 30), Black=patch(50, 50, 60, 60, 30))
    assert places_that_differ(one, one, 0.1) == []
    assert [place.box for place in places_that_differ(one, other, 0.1)] == [(1050, 2140, 1060, 2150)]
    assert places_that_differ(one, other, 0.2) == []


def test_a_chain_of_places_is_one_place() -> None:
    row = [Place(Box(at * 10, 0, at * 10 + 6, 6), 1, 310 + at) for at in (0, 3, 1, 2)]
    (one,) = neighbours(row, 5)
    assert one == Place(Box(0, 0, 36, 6), 4, 313)
