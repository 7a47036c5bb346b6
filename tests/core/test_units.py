"""Lengths and sizes as people write them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hotfolder.units import INCH, parse_length, parse_size, show_length, show_size, write_length

LENGTHS = [
    # (written, points); 1 in = 72 pt (ISO 32000-1 8.3.2.3), 1 in = 25.4 mm exactly (international inch, 1959)
    ("1in", 72.0),
    ("0.125in", 9.0),
    (".5 in", 36.0),
    ("25.4mm", 72.0),
    ("2.54 CM", 72.0),
    ("9pt", 9.0),
    ("0mm", 0.0),
]


@pytest.mark.parametrize(("text", "points"), LENGTHS)
def test_length(text: str, points: float) -> None:
    assert parse_length(text) == pytest.approx(points, abs=1e-9)


@pytest.mark.parametrize(
    "text", ["", "3", "mm", "3 feet", "-3mm", "3,5mm", "1e3mm", "nan mm", "inf in", "3mm3mm", "٣mm"]
)
def test_no_length(text: str) -> None:
    with pytest.raises(ValueError, match="is not a length"):
        parse_length(text)


def test_a_length_past_reason_is_a_mistake() -> None:
    with pytest.raises(ValueError, match="longer than a kilometre"):
        parse_length("9" * 400 + "mm")


SIZES = [
    ("24x36in", 24 * 72, 36 * 72),
    ("24 x 36 in", 24 * 72, 36 * 72),
    ("24×36IN", 24 * 72, 36 * 72),
    ("24inx36in", 24 * 72, 36 * 72),
    ("10cmx200mm", 283.46457, 566.92913),
    ("a1", 1683.77953, 2383.93701),
    ("B2", 1417.32283, 2004.09449),
]


@pytest.mark.parametrize(("text", "width", "height"), SIZES)
def test_size(text: str, width: float, height: float) -> None:
    size = parse_size(text)
    assert (size.width, size.height) == (pytest.approx(width, abs=1e-4), pytest.approx(height, abs=1e-4))


@pytest.mark.parametrize("text", ["", "24x36", "24in", "x36in", "0x36in", "24x0in", "24x36in@300", "A99", "24x36x2in"])
def test_no_size(text: str) -> None:
    with pytest.raises(ValueError, match="is not a sheet size"):
        parse_size(text)


@given(st.floats(min_value=0, max_value=1e5))
def test_what_is_written_reads_back(points: float) -> None:
    assert parse_length(write_length(points)) == pytest.approx(points, rel=1e-9, abs=1e-6)


def test_shown_in_both_systems() -> None:
    assert show_length(INCH / 8) == "3.18 mm (0.125 in)"
    assert show_size(24 * INCH, 36 * INCH) == "609.6 × 914.4 mm (24 × 36 in)"
