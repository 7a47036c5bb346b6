"""How a page comes to size, over many pages: what must hold of every plan, whatever boxes, rotation and unit it has."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hotfolder.finding import Box
from hotfolder.paper import ISO_216_MM
from hotfolder.pdf.boxes import MOST_UNITS, PageBoxes, size_matches
from hotfolder.pdf.mending.fitting import Allowed, plan_fit, same_shape
from hotfolder.units import MM, Size

SCALES = (1.0, 2.0, 4.0, 10.0, 0.5, 1 / 3)


@st.composite
def pages(draw: st.DrawFn) -> tuple[PageBoxes, Size, float]:
    """A page at one of the scales of an order, placed and turned anyhow; the order; the bleed it has at final size."""
    sides = st.floats(100 * MM, 3000 * MM)
    ordered, scale = Size(draw(sides), draw(sides)), draw(st.sampled_from(SCALES))
    rotate, unit = draw(st.sampled_from((0, 90, 180, 270))), draw(st.sampled_from((1.0, 0.5, 2.0, 10.0)))
    bleed, slug = draw(st.floats(0, 10 * MM)), draw(st.floats(0, 20 * MM))
    wide, high = (side / scale / unit for side in (ordered.width, ordered.height))
    if draw(st.booleans()):
        wide, high = high, wide
    left, bottom = draw(st.floats(-1000, 1000)), draw(st.floats(-1000, 1000))
    trim = Box(left, bottom, left + wide, bottom + high)
    around = trim.grown(bleed / scale / unit)
    media = around.grown(slug / scale / unit)
    declared = frozenset({"MediaBox", "BleedBox", "TrimBox"})
    return PageBoxes(media, media, around, trim, trim, declared, rotate=rotate, user_unit=unit), ordered, bleed


@settings(derandomize=True, deadline=None)
@given(pages(), st.booleans())
def test_what_holds_of_every_plan(made: tuple[PageBoxes, Size, float], turn: bool) -> None:
    boxes, ordered, bleed = made
    fit = plan_fit(boxes, ordered, bleed, Allowed(scales=SCALES, turn=turn))
    if fit is None:
        assert size_matches(boxes.size(boxes.trim), (ordered.width, ordered.height))
        assert boxes.user_unit == 1 or max(boxes.size(boxes.media)) > MOST_UNITS
        return
    cut, unit = fit.cut, fit.unit
    size = (cut.width * unit, cut.height * unit)
    assert size_matches(size, (ordered.width, ordered.height))
    assert fit.moved.trim == pytest.approx(size)
    if turn:
        way = (size[0] - size[1]) * (ordered.width - ordered.height)
        assert way >= 0 or abs(ordered.width - ordered.height) < 2 * MM or not fit.turned
    media = fit.moved.now(boxes.media)
    assert media[:2] == pytest.approx((0, 0), abs=1e-6)
    assert max(media.width, media.height) <= MOST_UNITS + 1e-6
    assert cut.within(fit.moved.now(boxes.trim), 1e-6)  # nothing stays white
    assert fit.moved.before(fit.moved.now(boxes.trim)) == pytest.approx(boxes.trim, abs=1e-6)


@pytest.mark.parametrize("series", "AB")
def test_the_sheets_of_a_series_have_one_shape(series: str) -> None:
    """ISO 216: every A size has the shape of every other, in whole millimetres; so have the B sizes."""
    sizes = [(wide * MM, high * MM) for name, (wide, high) in ISO_216_MM.items() if series in name]
    assert all(same_shape(one, other) for one in sizes for other in sizes)


# Widths and heights in inches of sheets that posters are ordered in (common practice), none of the shape of another.
@pytest.mark.parametrize("found", [(18, 24), (24, 36), (27, 40), (11, 17), (16, 20)])
@pytest.mark.parametrize("aim", [(18, 24), (24, 36), (27, 40), (11, 17), (16, 20), (23.39, 33.11)])
def test_other_sheets_have_other_shapes(found: tuple[float, float], aim: tuple[float, float]) -> None:
    one, other = ((side[0] * 72.0, side[1] * 72.0) for side in (found, aim))
    assert same_shape(one, other) is (found == aim)
