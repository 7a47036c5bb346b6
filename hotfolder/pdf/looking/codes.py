"""Finds the barcodes and square codes on a page, as a phone or a scanner would, from pictures of it.

The page is drawn coarsely once; where it looks busy like a small code, small parts of it are drawn finer. What is found
is drawn again finely and must read the same there, so that no pattern is taken for a code. A code that can't be read at
all is not found.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import zxingcpp as _zxingcpp
from numpy.typing import NDArray

from hotfolder.finding import Box
from hotfolder.pdf.render import Pages, Rendered
from hotfolder.units import INCH, MM

zxingcpp: Any = _zxingcpp  # its hints say less than its functions take
Point = tuple[float, float]

COARSE = 60.0  # ppi of the first look at the page; 2 pixels are 0.85 mm
FINE = 240.0  # ppi of a closer look at a part
FINEST = 1200.0
TILE = 50 * MM  # side of such a part; codes of this size and more have modules that the first look sees
SHARE = 0.35  # of the first look's pixels, which all parts together may have
_FEWEST = 800_000  # pixels that they may have in any case
MOST_CODES = 30  # of a page
MODULES = 120  # more than most codes have along a side
MODULE_PIXELS = 8  # of one module in the picture that is measured, where that isn't too large
MOST_PIXELS = 1_000_000  # of that picture
_BLOCK = 8  # pixels of the first look: 3.4 mm
_LEAST_BUSY = 60.0  # of all blocks of a part together: a Data Matrix of 8 mm in black has more
MOST_PARTS = 12
_GOES_ON = 0.6  # of the blocks beside a busy part: it goes on there
_SMALLEST = 8  # pixels of a side
_BUSY = 14.0  # of 255: mean difference between neighbours, from which a block may belong to a code
_SURE_LINEAR = 4  # letters; shorter texts of these kinds are found in stripes that are none

_F = zxingcpp.BarcodeFormat
#: Kinds that are looked for. Those without a check of their own that holds (Codabar, ITF of any length) are left out.
SQUARE_KINDS = [_F.QRCode, _F.MicroQRCode, _F.RMQRCode, _F.DataMatrix, _F.Aztec, _F.PDF417]
STRIPED_KINDS = [_F.EAN13, _F.EAN8, _F.UPCA, _F.UPCE, _F.Code128, _F.Code39, _F.ITF14]
KINDS = SQUARE_KINDS + STRIPED_KINDS
#: Kinds that may be so large that the first look must find them; the others are small, so a closer look does.
LARGE_KINDS = [_F.QRCode, _F.EANUPC, _F.Code128]


@dataclass(frozen=True)
class Code:
    """One code. `corners`: its outer corners in pixels of `drawn`, in the code's own order: upper left, upper right, lower
    right, lower left of its pattern; `drawn` shows it with room around."""

    kind: str  # as the standards call it: "QR Code", "EAN-13" ...
    text: str  # what a phone would get; not to be trusted
    page: int
    box: Box  # in the page's user space
    drawn: Rendered
    corners: tuple[Point, Point, Point, Point]
    version: str = ""


@dataclass(frozen=True)
class _Seen:
    kind: str
    text: str
    box: Box


def find_codes(pages: Pages, page: int, area: Box, unit: float) -> list[Code]:
    """The codes in an area of the page (from 1) in reading order. ValueError where it can't be drawn.

    `unit`: points to one unit of the page's space.
    """
    first = pages.render(page, COARSE, area)
    gray = _gray(first)
    seen = list(_read(first, gray, formats=LARGE_KINDS, try_downscale=False))
    for part in _busy_parts(first, gray, [first.place(found.box) for found in seen]):
        if len(seen) < MOST_CODES:
            closer = pages.render(page, FINE, part)
            found = _read(closer, _gray(closer), formats=KINDS)
            seen += [one for one in found if not any(_same(one, other) for other in seen)]
    codes = (_closely(pages, page, found, unit) for found in seen[:MOST_CODES])
    return sorted((code for code in codes if code is not None), key=lambda code: (-code.box.top, code.box.left))


def _raw(gray: NDArray[np.uint8], **options: object) -> list[Any]:
    if min(gray.shape) < _SMALLEST:
        return []
    found = zxingcpp.read_barcodes(gray, text_mode=zxingcpp.TextMode.Plain, **options)
    if not found and options.get("formats") is KINDS:  # it turns square codes round by itself
        found = zxingcpp.read_barcodes(255 - gray, formats=STRIPED_KINDS, text_mode=zxingcpp.TextMode.Plain)
    return [code for code in found if code.valid and (str(code.format) != "Code 39" or len(code.text) >= _SURE_LINEAR)]


def _gray(drawn: Rendered) -> NDArray[np.uint8]:
    return np.asarray(drawn.picture.convert("L"))


def _read(drawn: Rendered, gray: NDArray[np.uint8], **options: object) -> Iterator[_Seen]:
    for code in _raw(gray, **options):
        xs, ys = zip(*_corners(code), strict=True)
        yield _Seen(str(code.format), code.text, drawn.box(min(xs), min(ys), max(xs), max(ys)))


def _corners(code: Any) -> tuple[Point, Point, Point, Point]:
    place = code.position
    points = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
    return tuple((float(point.x), float(point.y)) for point in points)  # type: ignore[return-value]


def _same(one: _Seen, other: _Seen) -> bool:
    return (one.kind, one.text) == (other.kind, other.text) and one.box.common(other.box) is not None


def _closely(pages: Pages, page: int, found: _Seen, unit: float) -> Code | None:
    """The code drawn so finely that it can be measured; None where it doesn't read the same there."""
    side = max(found.box.width, found.box.height)
    area = found.box.grown(0.3 * side + MM / unit)
    wanted = MODULES * MODULE_PIXELS * INCH / max(side * unit, 1.0)
    affordable = (MOST_PIXELS / (area.width * area.height)) ** 0.5 * INCH / unit
    drawn = pages.render(page, min(wanted, FINEST, affordable), area)
    for code in _raw(_gray(drawn), formats=KINDS):
        if (str(code.format), code.text) != (found.kind, found.text):
            continue
        corners = _corners(code)
        xs, ys = zip(*corners, strict=True)
        box = drawn.box(min(xs), min(ys), max(xs), max(ys))
        if box.common(found.box) is None:
            continue
        extra = code.extra if isinstance(code.extra, dict) else {}
        return Code(found.kind, found.text, page, box, drawn, corners, str(extra.get("Version", "")))
    return None


# ---- where to look closer


def _busy_parts(first: Rendered, gray: NDArray[np.uint8], known: list[tuple[int, int, int, int]]) -> Iterator[Box]:
    """The busiest parts of the page, the busiest first, as many as there is time for. `known`: where codes are."""
    score = _busyness(gray)
    for left, top, right, bottom in known:
        score[max(0, top // _BLOCK) : bottom // _BLOCK + 1, max(0, left // _BLOCK) : right // _BLOCK + 1] = 0
    side = max(1, round(TILE / INCH * first.ppi / _BLOCK))
    pixels = max(_FEWEST, SHARE * gray.size)
    for _ in range(MOST_PARTS):
        sums = _window_sums(score, side)
        row, column = np.unravel_index(int(sums.argmax()), sums.shape)
        part = _around(score, int(row), int(column), side)
        pixels -= part.height * part.width * (_BLOCK / first.ppi * FINE) ** 2
        if sums[row, column] < _LEAST_BUSY or pixels < 0:
            return
        score[part.rows, part.columns] = 0
        yield first.box(*(_BLOCK * at for at in (part.left, part.top, part.left + part.width, part.top + part.height)))


def _busyness(gray: NDArray[np.uint8]) -> NDArray[np.float64]:
    """How strongly neighbours differ in each block of the picture; 0 where it is too little for any code, and less
    where light or dark prevails: codes have as much of the one as of the other."""
    rows, columns = (length // _BLOCK for length in gray.shape)
    if not rows or not columns:
        return np.zeros((1, 1))
    part = gray[: rows * _BLOCK, : columns * _BLOCK].reshape(rows, _BLOCK, columns, _BLOCK)
    thin = part[:, ::3]  # every third line says enough
    across = _differences(thin[..., :-1], thin[..., 1:])
    thin = part[..., ::3]
    down = _differences(thin[:, :-1], thin[:, 1:])
    light, dark, mean = thin.max(axis=(1, 3)), thin.min(axis=(1, 3)), thin.mean(axis=(1, 3))
    share = (mean - dark) / np.maximum(light - dark.astype(np.float64), 1)
    edges = np.maximum(across, down)
    return np.where(edges >= _BUSY, edges * (4 * share * (1 - share)) ** 2, 0.0)


def _differences(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> NDArray[np.float64]:
    return np.asarray((np.maximum(one, other) - np.minimum(one, other)).mean(axis=(1, 3)))


def _window_sums(score: NDArray[np.float64], side: int) -> NDArray[np.float64]:
    """The sum of each window of so many blocks, cut at the picture's edges, by its upper left block."""
    padded = np.pad(score, ((0, side), (0, side)))
    sums = np.pad(padded.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    return np.asarray(
        sums[side:-1, side:-1]
        - sums[: -side - 1, side:-1]
        - sums[side:-1, : -side - 1]
        + sums[: -side - 1, : -side - 1]
    )


@dataclass(frozen=True)
class _Part:
    """Some blocks of the first look."""

    top: int
    left: int
    height: int
    width: int

    @property
    def rows(self) -> slice:
        return slice(self.top, self.top + self.height)

    @property
    def columns(self) -> slice:
        return slice(self.left, self.left + self.width)


def _around(score: NDArray[np.float64], row: int, column: int, side: int) -> _Part:
    """The window moved so that what is busy in it stands in its middle, and made longer for a long code."""
    busy = score > 0
    found = np.argwhere(busy[row : row + side, column : column + side])
    if not len(found):
        return _Part(row, column, side, side)
    low, start = row + int(found[:, 0].min()), column + int(found[:, 1].min())
    high, end = row + int(found[:, 0].max()) + 1, column + int(found[:, 1].max()) + 1
    wide = _run(busy[low:high].mean(axis=0), start, end, side)
    tall = _run(busy[:, start:end].mean(axis=1), low, high, side)
    if (wide[1] - wide[0] > side) == (tall[1] - tall[0] > side):  # small, or a large surface
        wide, tall = (start, end), (low, high)
    height, width = (max(side, reach[1] - reach[0] + 2) for reach in (tall, wide))
    top, left = ((reach[0] + reach[1] - length) // 2 for reach, length in ((tall, height), (wide, width)))
    return _Part(max(0, top), max(0, left), height, width)


def _run(shares: NDArray[np.float64], start: int, end: int, side: int) -> tuple[int, int]:
    """How far a busy stretch goes on, at most twice a window's side."""
    first, last = start, end
    while first > 0 and last - first < 2 * side and shares[first - 1] > _GOES_ON:
        first -= 1
    while last < len(shares) and last - first < 2 * side and shares[last] > _GOES_ON:
        last += 1
    return first, last
