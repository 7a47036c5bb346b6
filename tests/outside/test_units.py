"""Units against their definitions: the international inch of 1959 (25.4 mm exactly), PDF's 1/72 in (ISO 32000-1 8.3.2.3)."""

from fractions import Fraction

import pytest

from hotfolder.units import POINTS_PER, parse_length, show_length, write_length

INCH_MM = Fraction("25.4")
POINT_MM = INCH_MM / 72

EXACT = {"in": INCH_MM, "mm": Fraction(1), "cm": Fraction(10), "pt": POINT_MM}


@pytest.mark.parametrize("unit", EXACT)
def test_each_unit_is_its_definition(unit):
    assert POINTS_PER[unit] == pytest.approx(float(EXACT[unit] / POINT_MM), rel=1e-15)


# Bleeds and margins of the trade (common practice, no published source), each in two units that mean the same.
SAME = [
    ("0.125in", "3.175mm"),
    ("0.125in", "9pt"),
    ("0.5in", "12.7mm"),
    ("0.5in", "36pt"),
    ("1in", "2.54cm"),
    ("3mm", "0.3cm"),
    ("200in", "5080mm"),
]


@pytest.mark.parametrize(("one", "other"), SAME)
def test_lengths_that_mean_the_same(one, other):
    assert parse_length(one) == pytest.approx(parse_length(other), rel=1e-14)


@pytest.mark.parametrize("mm", range(1, 60))
def test_millimetres_come_back(mm):
    points = parse_length(f"{mm}mm")
    assert points == pytest.approx(float(Fraction(mm) / POINT_MM), rel=1e-15)
    assert write_length(points) in (f"{mm}mm", f"{float(mm / INCH_MM):g}in")


def test_three_millimetres_and_an_eighth_of_an_inch_are_not_the_same():
    """They differ by 0.175 mm, which is more than a program's rounding."""
    assert parse_length("0.125in") - parse_length("3mm") == pytest.approx(float(Fraction("0.175") / POINT_MM))
    assert show_length(parse_length("3mm")) == "3 mm (0.118 in)"
    assert show_length(parse_length("0.125in")) == "3.18 mm (0.125 in)"
