"""Sheet sizes against the rules they come from: ISO 216 for A and B, DIN 476 for 2A0 and 4A0, the inch for US sheets."""

import math

import pytest

from hotfolder.paper import ISO_216_MM
from hotfolder.units import INCH, MM, parse_size, show_size


def halved(start: tuple[int, int], steps: int) -> list[tuple[int, int]]:
    """ISO 216: each size is the one before cut in half across its longer side, fractions of a millimetre dropped."""
    sizes = [start]
    for _ in range(steps):
        width, height = sizes[-1]
        sizes.append((height // 2, width))
    return sizes


# A0: one square metre with sides 1 : √2, in whole millimetres. B0: the shorter side a metre.
A0 = (round(1000 * 2**-0.25), round(1000 * 2**0.25))
B0 = (1000, round(1000 * math.sqrt(2)))


def test_a0_is_a_square_metre():
    assert A0 == (841, 1189)
    assert A0[0] * A0[1] / 1e6 == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize(("letter", "start"), [("A", A0), ("B", B0)])
def test_every_size_is_half_of_the_one_before(letter, start):
    for step, size in enumerate(halved(start, 10)):
        assert ISO_216_MM[f"{letter}{step}"] == size


def test_sizes_above_a0_are_doubles():
    """DIN 476: the shorter side doubled becomes the longer one."""
    assert ISO_216_MM["2A0"] == (A0[1], 2 * A0[0])
    assert ISO_216_MM["4A0"] == (2 * A0[0], 2 * A0[1])


@pytest.mark.parametrize("name", ISO_216_MM)
def test_named_sizes_are_read_in_points(name):
    size = parse_size(name)
    assert (size.width / 72 * 25.4, size.height / 72 * 25.4) == pytest.approx(ISO_216_MM[name])


def test_a4_as_typesetting_programs_write_it():
    """595.276 x 841.890 pt, as it stands in MediaBox entries of countless files."""
    assert (parse_size("A4").width, parse_size("A4").height) == pytest.approx((595.276, 841.890), abs=5e-4)


# Common practice, no published source: poster sizes of the US trade and what they are in millimetres.
US_POSTERS = {
    "11x17in": (279.4, 431.8),
    "18x24in": (457.2, 609.6),
    "24x36in": (609.6, 914.4),
    "27x40in": (685.8, 1016.0),
}


@pytest.mark.parametrize(("text", "mm"), US_POSTERS.items())
def test_us_posters(text, mm):
    size = parse_size(text)
    assert (size.width / MM, size.height / MM) == pytest.approx(mm)
    assert show_size(size.width, size.height).endswith(f"({text[:-2].replace('x', ' × ')} in)")


def test_large_sheets_fit_in_a_page_only_with_user_units():
    """ISO 32000-1 annex C.2: 14 400 units a side, which is 200 in or 5080 mm."""
    assert 14_400 / INCH == 200
    longest_mm = 14_400 / MM
    assert longest_mm == pytest.approx(5080)
