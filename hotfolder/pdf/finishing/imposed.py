"""Works out where copies of a poster go on a press sheet, and where tiles are cut out of one that is too large.

It draws nothing. Lengths are points of paper; a poster's trim begins at 0 0, upright as it is looked at. Copies that
share the gap between them, and an overlap to glue tiles on, are common practice, with no published source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

from hotfolder.finding import Box
from hotfolder.pdf.finishing.sheet import CORNER, GAP, TARGET, Line, Marks, Sheet

MOST = 2000  # copies on a sheet, or tiles of a poster
SIDES = ("left", "bottom", "right", "top")


@dataclass(frozen=True)
class Copy:
    """One copy: where its lower left corner goes, and what is seen of it."""

    corner: tuple[float, float]
    shown: Box


@dataclass(frozen=True)
class Grid:
    """Copies in rows and columns. `trim`: from the outermost cut to the outermost; `bleed` around it."""

    columns: int
    rows: int
    turned: bool  # by 90 degrees to the left
    size: tuple[float, float]  # of a copy as it lies
    trim: Box
    bleed: Box
    copies: tuple[Copy, ...]


@dataclass(frozen=True)
class Tile:
    """One part of a poster: what it is cut to, what is drawn of it, and the cut lines of its neighbours inside it."""

    name: str  # column by letter, row by number from the top: "B2"
    trim: Box  # in the poster's points
    shown: Box
    joins: tuple[tuple[str, float], ...]  # the side on which a neighbour lies over it, and how far in it begins


def turned(bleeds: Box) -> Box:
    """How far the art reaches beyond each side, after a quarter turn to the left."""
    return Box(bleeds.top, bleeds.left, bleeds.bottom, bleeds.right)


def plan_grid(
    size: tuple[float, float], bleeds: Box, columns: int, rows: int, gap: float, *, turn: bool = False
) -> Grid:
    """So many copies of a size. `bleeds`: how far its art reaches beyond each side; between copies they share the gap."""
    width, height = size[::-1] if turn else size
    out = turned(bleeds) if turn else bleeds
    whole = Box(0, 0, columns * width + (columns - 1) * gap, rows * height + (rows - 1) * gap)
    copies = []
    for row, column in product(range(rows), range(columns)):
        left, bottom = column * (width + gap), (rows - 1 - row) * (height + gap)
        inner = Box(
            out.left if column == 0 else min(out.left, gap / 2),
            out.bottom if row == rows - 1 else min(out.bottom, gap / 2),
            out.right if column == columns - 1 else min(out.right, gap / 2),
            out.top if row == 0 else min(out.top, gap / 2),
        )
        copies.append(Copy((left, bottom), _grown(Box(left, bottom, left + width, bottom + height), inner)))
    return Grid(columns, rows, turn, (width, height), whole, _grown(whole, out), tuple(copies))


def most_that_fit(
    size: tuple[float, float], room: tuple[float, float], gap: float, *, turn: bool = True
) -> tuple[int, int, bool]:
    """Columns and rows on a sheet with so much room, and whether copies are turned for it (`turn`): for more of them."""

    def count(way: tuple[float, float]) -> tuple[int, int]:
        across, up = (math.floor((room[side] + gap + 0.01) / (way[side] + gap)) for side in (0, 1))
        return max(0, across), max(0, up)

    straight, across = count(size), count(size[::-1])
    turn = turn and math.prod(across) > math.prod(straight)
    return (*(across if turn else straight), turn)


def grid_marks(sheet: Sheet, grid: Grid, marks: Marks) -> Sheet:
    """The sheet with a cut mark at every cut, and registration targets clear of them."""
    corners, (width, height) = [copy.corner for copy in grid.copies], grid.size
    across = {round(side, 3) for x, _ in corners for side in (x, x + width)}
    up = {round(side, 3) for _, y in corners for side in (y, y + height)}
    lines = _marks_at(sheet, marks, sorted(across), sorted(up)) if marks.cut_marks else ()
    x, y = corners[(grid.rows - 1) // 2 * grid.columns + (grid.columns - 1) // 2]
    targets = _targets(sheet, (x + width / 2, y + height / 2), grid.size) if marks.registration_targets else ()
    left_out = ("registration targets",) if marks.registration_targets and not targets else ()
    return replace(sheet, lines=lines, targets=targets, left_out=left_out)


def plan_tiles(
    size: tuple[float, float], bleeds: Box, room: tuple[float, float], overlap: float, bleed: float
) -> list[Tile]:
    """The fewest equal tiles that cover a poster, row by row from the top left; none for what fits in one piece.

    `room`: largest trim of a tile, either way round; `bleed`: drawn beyond the cut between tiles. ValueError where the
    overlap leaves nothing of a tile, or it would be too many.
    """
    if min(room) <= 2 * overlap:
        raise ValueError("The sheet is too small for tiles with this overlap.")
    ways = [(_pieces(size[0], way[0], overlap), _pieces(size[1], way[1], overlap)) for way in (room, room[::-1])]
    columns, rows = min(ways, key=math.prod)
    if columns * rows > MOST:
        raise ValueError(f"It would take {columns * rows} tiles.")
    if columns * rows == 1:
        return []
    wide, high = (size[0] + (columns - 1) * overlap) / columns, (size[1] + (rows - 1) * overlap) / rows
    around = _grown(Box(0, 0, *size), bleeds)
    tiles = []
    for row, column in product(range(rows), range(columns)):
        left, top = column * (wide - overlap), size[1] - row * (high - overlap)
        trim = Box(left, top - high, left + wide, top)
        shown = trim.grown(bleed)
        shown = Box(
            around.left if column == 0 else shown.left,
            around.bottom if row == rows - 1 else shown.bottom,
            around.right if column == columns - 1 else shown.right,
            around.top if row == 0 else shown.top,
        )
        neighbours = (column > 0, row < rows - 1, column < columns - 1, row > 0)
        joins = tuple((side, overlap) for side, there in zip(SIDES, neighbours, strict=True) if there and overlap)
        tiles.append(Tile(f"{_letters(column)}{row + 1}", trim, shown, joins))
    return tiles


def tile_marks(sheet: Sheet, tile: Tile, marks: Marks) -> Sheet:
    """The sheet with half as long marks where the neighbouring tiles begin."""
    short = replace(marks, length=marks.length / 2)
    across = [by if side == "left" else sheet.width - by for side, by in tile.joins if side in ("left", "right")]
    up = [by if side == "bottom" else sheet.height - by for side, by in tile.joins if side in ("bottom", "top")]
    return replace(sheet, lines=sheet.lines + _marks_at(sheet, short, across, up))


# ---- marks


def _marks_at(sheet: Sheet, marks: Marks, across: Sequence[float], up: Sequence[float]) -> tuple[Line, ...]:
    """Lines outside the sheet's art, at these places from the left and from below."""
    start, end = sheet.offset, sheet.offset + marks.length
    lines = [(x, y0, x, y1) for x in across for y0, y1 in ((-end, -start), (sheet.height + start, sheet.height + end))]
    lines += [(x0, y, x1, y) for y in up for x0, x1 in ((-end, -start), (sheet.width + start, sheet.width + end))]
    return tuple(lines)


def _targets(sheet: Sheet, middle: tuple[float, float], size: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """On each side, in the middle of a copy that is wide enough to keep them clear of the cut marks."""
    out, room = sheet.offset + GAP + TARGET / 2, TARGET + 2 * CORNER
    found = [(middle[0], -out), (middle[0], sheet.height + out)] if size[0] >= room else []
    found += [(-out, middle[1]), (sheet.width + out, middle[1])] if size[1] >= room else []
    return tuple(found)


# ---- small


def _grown(box: Box, by: Box) -> Box:
    return Box(box.left - by.left, box.bottom - by.bottom, box.right + by.right, box.top + by.top)


def _pieces(side: float, room: float, overlap: float) -> int:
    return 1 if side <= room + 0.01 else math.ceil((side - overlap - 0.01) / (room - overlap))


def _letters(column: int) -> str:
    """A to Z, then AA, AB ..."""
    name = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        name = chr(ord("A") + rest) + name
    return name
