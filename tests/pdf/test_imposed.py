"""Where copies and tiles go: counts worked out by hand, and what must hold for any size (sheets of ISO 216)."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hotfolder.finding import Box
from hotfolder.pdf.finishing.imposed import grid_marks, most_that_fit, plan_grid, plan_tiles, tile_marks
from hotfolder.pdf.finishing.sheet import Marks, Sheet
from hotfolder.units import MM

A6, A4, A3, A2 = (105, 148), (210, 297), (297, 420), (420, 594)
B = 3 * MM
BLEEDS = Box(B, B, B, B)

# size, room, gap in mm -> columns, rows, turned
FITS = [
    (A6, A4, 0, (2, 2, False)),
    (A6, (209, 297), 0, (1, 2, False)),
    (A6, A4, 1, (1, 2, False)),  # 105 + 1 + 105 is 211; turned it would be as many, so it stays
    (A6, (297, 210), 0, (2, 2, True)),
    (A4, (210, 297), 10, (1, 1, False)),
    (A4, A6, 0, (0, 0, False)),
    ((50, 50), (200, 100), 0, (4, 2, False)),
]


def points(size: tuple[float, float]) -> tuple[float, float]:
    return size[0] * MM, size[1] * MM


@pytest.mark.parametrize(("size", "room", "gap", "expected"), FITS)
def test_how_many_fit(size: tuple[int, int], room: tuple[int, int], gap: int, expected: tuple[int, int, bool]) -> None:
    assert most_that_fit(points(size), points(room), gap * MM) == expected


def in_mm(box: Box) -> tuple[float, ...]:
    return tuple(round(side / MM, 3) for side in box)


def test_copies_share_the_gap() -> None:
    grid = plan_grid(points(A6), BLEEDS, 2, 2, 4 * MM)
    assert (in_mm(grid.trim), in_mm(grid.bleed)) == ((0, 0, 214, 300), (-3, -3, 217, 303))
    assert [in_mm(copy.shown) for copy in grid.copies] == [
        (-3, 150, 107, 303),
        (107, 150, 217, 303),
        (-3, -3, 107, 150),
        (107, -3, 217, 150),
    ]


@given(
    st.integers(1, 6), st.integers(1, 6), st.floats(0, 60), st.booleans(),
    st.tuples(*[st.floats(0, 20)] * 4), st.tuples(st.floats(30, 900), st.floats(30, 900)),
)  # fmt: skip
@settings(max_examples=60, derandomize=True, deadline=None)
def test_copies_never_meet_and_keep_what_there_is_room_for(
    columns: int, rows: int, gap: float, turn: bool, bleeds: tuple[float, ...], size: tuple[float, float]
) -> None:
    grid = plan_grid(size, Box(*bleeds), columns, rows, gap, turn=turn)
    assert len(grid.copies) == columns * rows
    wide, high = grid.size
    for at, copy in enumerate(grid.copies):
        own = Box(copy.corner[0], copy.corner[1], copy.corner[0] + wide, copy.corner[1] + high)
        assert own.within(copy.shown, 1e-6)
        assert copy.shown.within(grid.bleed, 1e-6)
        for other in grid.copies[at + 1 :]:
            common = copy.shown.common(other.shown)
            assert common is None or min(common.width, common.height) < 1e-6


SHEET = Sheet(214 * MM, 300 * MM, BLEEDS, Box(0, 0, 0, 0), offset=B)


def test_every_cut_has_its_marks() -> None:
    grid = plan_grid(points(A6), BLEEDS, 2, 2, 4 * MM)
    marked = grid_marks(SHEET, grid, Marks())
    upright = {round(x0 / MM, 2) for x0, _, x1, _ in marked.lines if x0 == x1}
    lying = {round(y0 / MM, 2) for _, y0, _, y1 in marked.lines if y0 == y1}
    assert (upright, lying) == ({0, 105, 109, 214}, {0, 148, 152, 300})
    assert len(marked.lines) == 16
    for line in marked.lines:  # outside the bleed of all copies
        x, y = (line[0] + line[2]) / 2, (line[1] + line[3]) / 2
        assert not (grid.bleed.left < x < grid.bleed.right and grid.bleed.bottom < y < grid.bleed.top)
    assert {round(x / MM, 1) for x, y in marked.targets if y < 0} == {52.5}  # the middle of a copy, clear of the cuts
    assert grid_marks(SHEET, plan_grid(points((8, 8)), BLEEDS, 2, 2, 0), Marks()).left_out == ("registration targets",)


# size, room of a tile, overlap in mm -> names, first trim, last trim in mm
TILES = [
    (A3, A3, 10, [], None, None),
    (A3, (420, 297), 10, [], None, None),
    (A3, A4, 0, ["A1", "A2"], (0, 210, 297, 420), (0, 0, 297, 210)),
    (A3, A4, 10, ["A1", "A2", "A3"], (0, 273.333, 297, 420), (0, 0, 297, 146.667)),
    (A2, A4, 10, ["A1", "B1", "A2", "B2", "A3", "B3"], (0, 389.333, 215, 594), (205, 0, 420, 204.667)),
    ((1000, 100), (400, 200), 50, ["A1", "B1", "C1"], (0, 0, 366.667, 100), (633.333, 0, 1000, 100)),
]


@pytest.mark.parametrize(("size", "room", "overlap", "names", "first", "last"), TILES)
def test_tiles(
    size: tuple[int, int], room: tuple[int, int], overlap: int, names: list[str],
    first: tuple[float, ...] | None, last: tuple[float, ...] | None,
) -> None:  # fmt: skip
    tiles = plan_tiles(points(size), BLEEDS, points(room), overlap * MM, B)
    assert [tile.name for tile in tiles] == names
    if first is not None:
        assert (in_mm(tiles[0].trim), in_mm(tiles[-1].trim)) == (first, last)


@given(
    st.tuples(st.floats(100, 3000), st.floats(100, 3000)), st.tuples(st.floats(200, 900), st.floats(200, 900)),
    st.floats(0, 90), st.floats(0, 12),
)  # fmt: skip
@settings(max_examples=80, derandomize=True, deadline=None)
def test_tiles_show_all_and_fit(
    size: tuple[float, float], room: tuple[float, float], overlap: float, bleed: float
) -> None:
    tiles = plan_tiles(size, Box(bleed, bleed, bleed, bleed), room, overlap, bleed)
    if not tiles:
        assert any(size[0] <= way[0] + 0.02 and size[1] <= way[1] + 0.02 for way in (room, room[::-1]))
        return
    columns, rows = sorted({tile.trim.left for tile in tiles}), sorted({tile.trim.top for tile in tiles}, reverse=True)
    assert len(columns) * len(rows) == len(tiles)
    wide, high = tiles[0].trim.width, tiles[0].trim.height
    assert any(wide <= way[0] + 0.02 and high <= way[1] + 0.02 for way in (room, room[::-1]))
    for before, after in pairwise(columns):
        assert before + wide - after == pytest.approx(overlap, abs=1e-3)
    assert min(tile.shown.left for tile in tiles) == -bleed
    assert max(tile.shown.right for tile in tiles) == pytest.approx(size[0] + bleed)
    assert min(tile.shown.bottom for tile in tiles) == pytest.approx(-bleed)
    assert max(tile.shown.top for tile in tiles) == pytest.approx(size[1] + bleed)
    assert all(tile.trim.within(tile.shown, 1e-6) for tile in tiles)


def test_marks_where_the_neighbour_begins() -> None:
    (tile, *_) = plan_tiles(points(A2), BLEEDS, points(A4), 10 * MM, B)
    sheet = replace(SHEET, width=tile.trim.width, height=tile.trim.height)
    lines = tile_marks(sheet, tile, Marks()).lines
    assert {round(x0 / MM, 2) for x0, _, x1, _ in lines if x0 == x1} == {205}
    assert {round(y0 / MM, 2) for _, y0, _, y1 in lines if y0 == y1} == {10}


def test_tiles_that_make_no_sense() -> None:
    with pytest.raises(ValueError, match="too small for tiles"):
        plan_tiles(points(A2), BLEEDS, points((30, 40)), 15 * MM, B)
    with pytest.raises(ValueError, match="tiles"):
        plan_tiles(points((9000, 9000)), BLEEDS, points((41, 41)), 20 * MM, B)
    with pytest.raises(ValueError, match="It would take"):
        plan_tiles(points((9000, 9000)), BLEEDS, points((100, 100)), 0, B)
