"""Recognises printer's marks that came with the artwork: cut marks at the corners, registration targets, colour bars.

How such marks look is common practice (ISO 32000-1 14.11.3 names them, no standard draws them).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, product

from hotfolder.finding import Box
from hotfolder.pdf.looking.inventory import Inventory, Kind, Painted
from hotfolder.pdf.looking.outlines import around
from hotfolder.units import MM

THICKEST = 1.5  # points: thicker lines are no cut marks
LENGTHS = (1.5 * MM, 30 * MM)  # of cut marks
ALIKE = 0.75  # points: marks that stand in line do so this closely
LEAST_SHARE = 0.6  # of each side of the page, which the sheet between cut marks has at least
FARTHEST = 15 * MM  # from the sheet's corner to where a mark begins
TARGETS = (2 * MM, 20 * MM)  # sides of registration targets
PATCHES = (1.5 * MM, 20 * MM)  # sides of the patches of a colour bar
LEAST_PATCHES, LEAST_TONES = 5, 3  # in one row
_MOST = 20_000  # small lines of a page looked at
_MOST_CROSSES, _MOST_IN_PLACE = 2000, 20
_MOST_LINES = 60  # of one quarter of the page and each way, the outermost first
_MOST_CORNERS = 200  # of one quarter
_MOST_PAIRED = 8

Point = tuple[float, float]


@dataclass(frozen=True)
class OwnMarks:
    """`sheet`: what the cut marks at all four corners cut out, None where there is no such set."""

    sheet: Box | None
    cuts: tuple[Box, ...]
    targets: tuple[Box, ...]
    bars: tuple[Box, ...]

    @property
    def any(self) -> bool:
        return bool(self.cuts or self.targets or self.bars)


def find_own_marks(found: Inventory, page: Box, trim: Box, unit: float) -> OwnMarks:
    """The marks on a page (its media box). `unit`: points to one unit of the page's space.

    Cut marks are found wherever they stand, also inside the trim; the others beyond the sheet that they cut, else beyond
    the trim.
    """
    small = list(islice(_strokes(found.objects, unit), _MOST))
    lines = [item for item in small if min(_sides(item, unit)) <= THICKEST and max(_sides(item, unit)) >= LENGTHS[0]]
    crosses = list(islice(_crossings(lines), _MOST_CROSSES))
    near = _by_place(crosses)
    plain = [box for box in small if not any(_centred(box, cross) for cross in _neighbours(near, box))]
    sheet, cuts = _cut_marks(plain, page, unit)
    beyond = sheet or trim
    outside = [
        item for item in found.objects if item.seen and item.box and item.box.common(beyond.grown(-ALIKE)) is None
    ]
    targets = [cross for cross in crosses if cross.common(beyond) is None]
    targets += [box for box in _in_every_ink(outside, unit) if box not in cuts]
    return OwnMarks(sheet, cuts, tuple(targets), tuple(_bars(outside, unit)))


def _strokes(objects: Iterable[Painted], unit: float) -> Iterator[Box]:
    """Lines, and areas as thin as lines."""
    for item in objects:
        if item.seen and item.box and item.kind in (Kind.STROKE, Kind.FILL):
            short, long = sorted(_sides(item.box, unit))
            if long <= LENGTHS[1] and (item.kind is Kind.STROKE or short <= THICKEST):
                yield item.box


def _sides(box: Box, unit: float) -> Point:
    return box.width * unit, box.height * unit


def _crossings(lines: Sequence[Box]) -> Iterator[Box]:
    """Where lines cross in the middle of both: hair lines of a registration target."""
    upright = _by_place([box for box in lines if box.width <= box.height])
    for box in lines:
        if box.width > box.height:
            yield from (around([box, other]) for other in _neighbours(upright, box) if _centred(box, other))


def _by_place(boxes: Iterable[Box]) -> dict[tuple[int, int], list[Box]]:
    found: dict[tuple[int, int], list[Box]] = {}
    for box in boxes:
        if len(found.setdefault(_cell(box), [])) < _MOST_IN_PLACE:
            found[_cell(box)].append(box)
    return found


def _neighbours(places: dict[tuple[int, int], list[Box]], box: Box) -> Iterator[Box]:
    x, y = _cell(box)
    for at in product((x - 1, x, x + 1), (y - 1, y, y + 1)):
        yield from places.get(at, ())


def _cell(box: Box) -> tuple[int, int]:
    return round((box.left + box.right) / 8), round((box.bottom + box.top) / 8)


def _centred(one: Box, other: Box) -> bool:
    x, y = (one.left + one.right - other.left - other.right) / 2, (one.bottom + one.top - other.bottom - other.top) / 2
    return abs(x) <= ALIKE and abs(y) <= ALIKE


# ---- cut marks


def _cut_marks(boxes: Sequence[Box], page: Box, unit: float) -> tuple[Box | None, tuple[Box, ...]]:
    """The innermost sheet at whose four corners marks stand, and those marks.

    At each corner a mark lies in line with the sheet's side and another in line with its foot; drawn as one outline they
    count as one thing, whose inner corner is the sheet's.
    """
    middle = (page.left + page.right) / 2, (page.bottom + page.top) / 2
    corners = [_corners(boxes, middle, right, high, unit) for right, high in product((False, True), repeat=2)]
    rows, columns = _in_rows(boxes, unit)
    best: tuple[Box | None, tuple[Box, ...]] = None, ()
    for low_left, high_left, low_right, high_right in _matching(corners, ALIKE / unit):
        sheet = Box(*low_left[0], *high_right[0])
        large = sheet.width >= LEAST_SHARE * page.width and sheet.height >= LEAST_SHARE * page.height
        smaller = best[0] is None or sheet.width * sheet.height < best[0].width * best[0].height
        if large and smaller and not _goes_on(sheet, rows, columns, unit):
            best = sheet, (*low_left[1], *high_left[1], *low_right[1], *high_right[1])
    return best


_Rows = dict[int, list[tuple[float, float]]]


def _in_rows(boxes: Iterable[Box], unit: float) -> tuple[_Rows, _Rows]:
    """From where to where level lines reach, by their height; and upright ones, by their place across."""
    rows, columns = _Rows(), _Rows()
    for box in boxes:
        level = box.width > box.height
        at = round((box.bottom + box.top if level else box.left + box.right) / 2 * unit)
        reach = (box.left, box.right) if level else (box.bottom, box.top)
        if (
            min(_sides(box, unit)) <= THICKEST
            and len(there := (rows if level else columns).setdefault(at, [])) < _MOST_LINES
        ):
            there.append(reach)
    return rows, columns


def _goes_on(sheet: Box, rows: _Rows, columns: _Rows, unit: float) -> bool:
    """Whether lines go on between two corners, as those of a table do; between cut marks nothing stands in line."""
    slack = ALIKE / unit
    return any(
        start >= low - slack and end <= high + slack
        for lines, places, (low, high) in (
            (rows, (sheet.bottom, sheet.top), (sheet.left, sheet.right)),
            (columns, (sheet.left, sheet.right), (sheet.bottom, sheet.top)),
        )
        for place in places
        for start, end in lines.get(round(place * unit), ())
    )


_Corner = tuple[Point, tuple[Box, ...]]


def _corners(boxes: Sequence[Box], middle: Point, right: bool, high: bool, unit: float) -> list[_Corner]:
    """Possible corners of a sheet in one quarter of the page, each with its marks."""
    mine = [
        box
        for box in boxes
        if (box.left > middle[0] if right else box.right < middle[0])
        and (box.bottom > middle[1] if high else box.top < middle[1])
    ]
    mine.sort(key=lambda box: (box.bottom if high else -box.top) + (box.left if right else -box.right), reverse=True)
    thin, long = THICKEST / unit, LENGTHS[0] / unit
    across = [box for box in mine if box.height <= thin and box.width >= long]
    upright = [box for box in mine if box.width <= thin and box.height >= long]
    found: list[_Corner] = []
    for one, other in product(across[:_MOST_LINES], upright[:_MOST_LINES]):
        x, y = (other.left + other.right) / 2, (one.bottom + one.top) / 2
        gaps = (one.left - x if right else x - one.right), (other.bottom - y if high else y - other.top)
        if all(-ALIKE / unit <= gap <= FARTHEST / unit for gap in gaps):
            found.append(((x, y), (one, other)))
    for box in mine[:_MOST_LINES]:
        if min(box.width, box.height) > long:
            pen = 0.3 / unit  # half the width of a usual mark, by which the box is larger
            inner = (box.left + pen if right else box.right - pen), (box.bottom + pen if high else box.top - pen)
            found.append((inner, (box,)))
    return found[:_MOST_CORNERS]


def _matching(corners: Sequence[list[_Corner]], slack: float) -> Iterator[tuple[_Corner, _Corner, _Corner, _Corner]]:
    """Four corners of one rectangle, marked in the same way."""
    low_left, high_left, low_right, high_right = corners
    for one in low_left:
        (left, low), kind = one[0], len(one[1])
        above = [c for c in high_left if abs(c[0][0] - left) <= slack and len(c[1]) == kind]
        beside = [c for c in low_right if abs(c[0][1] - low) <= slack and len(c[1]) == kind]
        for up, side in product(above[:_MOST_PAIRED], beside[:_MOST_PAIRED]):
            for last in high_right:
                if (
                    abs(last[0][0] - side[0][0]) <= slack
                    and abs(last[0][1] - up[0][1]) <= slack
                    and len(last[1]) == kind
                ):
                    if all(_alike(*marks) for marks in zip(one[1], up[1], side[1], last[1], strict=True)):
                        yield one, up, side, last
                    break


def _alike(*boxes: Box) -> bool:
    """Whether all have the same size, as marks of one sheet have; lines of a table may stand like marks, of any length."""
    first = boxes[0]
    return all(abs(box.width - first.width) <= 1 and abs(box.height - first.height) <= 1 for box in boxes)


# ---- targets and colour bars


def _in_every_ink(objects: Iterable[Painted], unit: float) -> Iterator[Box]:
    """Small round or square things in registration colour."""
    for item in objects:
        box = item.box
        if box is None or item.colour is None or item.colour.space.inks != ("All",):
            continue
        short, long = sorted(_sides(box, unit))
        if TARGETS[0] <= short and long <= TARGETS[1] and long <= 1.5 * short:
            yield box


def _bars(objects: Iterable[Painted], unit: float) -> Iterator[Box]:
    """Rows of at least five equal small areas in several tones."""
    rows: dict[tuple[int, int, int, bool], list[tuple[Box, object]]] = {}
    for item in objects:
        box = item.box
        if box is None or item.kind is not Kind.FILL or item.colour is None:
            continue
        width, height = _sides(box, unit)
        if PATCHES[0] <= min(width, height) and max(width, height) <= PATCHES[1]:
            patch = box, (item.colour.space.key, item.colour.values)
            for at, lying in ((box.bottom, True), (box.left, False)):
                rows.setdefault((round(width * 2), round(height * 2), round(at * unit), lying), []).append(patch)
    for patches in rows.values():
        if len(patches) >= LEAST_PATCHES and len({tone for _, tone in patches}) >= LEAST_TONES:
            yield around([box for box, _ in patches])
