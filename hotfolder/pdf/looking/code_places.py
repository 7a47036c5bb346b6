"""Finds the parts of a page that are so busy that a small code may stand there, to be looked at closer."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hotfolder.finding import Box
from hotfolder.pdf.render import Rendered
from hotfolder.units import INCH, MM

FINE = 240.0  # ppi of a closer look at a part
TILE = 50 * MM  # side of such a part; codes of this size and more have modules that the first look sees
CORE = 10 * MM  # how far around the busiest place counts for how busy it is: about the smallest code
SHARE = 0.35  # of the first look's pixels, which all parts together may have
_FEWEST = 800_000  # pixels that they may have in any case
_BLOCK = 8  # pixels of the first look: 3.4 mm
_THIRD = 3
_LEAST_BUSY = 60.0  # of all blocks of a part together: a Data Matrix of 8 mm in black has more
MOST_PARTS = 24
_ROOM = 2  # blocks around a part
_GAP = 3  # blocks
_GOES_ON = 0.5  # of the blocks beside a busy part: it goes on there
_BUSY = 14.0  # of 255: mean difference between neighbours, from which a block may belong to a code


def busy_parts(first: Rendered, gray: NDArray[np.uint8], known: list[tuple[int, int, int, int]]) -> Iterator[Box]:
    """The busiest parts of the page, the busiest first, as many as there is time for. `known`: where codes are."""
    score = _busyness(gray)
    for left, top, right, bottom in known:
        score[max(0, top // _BLOCK) : bottom // _BLOCK + 1, max(0, left // _BLOCK) : right // _BLOCK + 1] = 0
    side, core = (max(1, round(length / INCH * first.ppi / _BLOCK)) for length in (TILE, CORE))
    pixels = max(_FEWEST, SHARE * gray.size)
    sums = _window_sums(score, core)
    for _ in range(MOST_PARTS):
        row, column = np.unravel_index(int(sums.argmax()), sums.shape)
        part = _around(score > 0, int(row), int(column), core, side)
        pixels -= part.height * part.width * (_BLOCK / first.ppi * FINE) ** 2
        if sums[row, column] < _LEAST_BUSY or pixels < 0:
            return
        score[part.rows, part.columns] = 0
        _sum_again(sums, score, core, part)
        yield first.box(*(_BLOCK * at for at in (part.left, part.top, part.left + part.width, part.top + part.height)))


def _busyness(gray: NDArray[np.uint8]) -> NDArray[np.float64]:
    """How strongly neighbours differ in each block of the picture; 0 where it is too little for any code, and less
    where light or dark prevails: codes have as much of the one as of the other."""
    rows, columns = (length // _BLOCK for length in gray.shape)
    if not rows or not columns:
        return np.zeros((1, 1))
    part = gray[: rows * _BLOCK, : columns * _BLOCK]
    thin = part.reshape(rows, _BLOCK, -1)[:, ::_THIRD]  # every third line says enough
    across = _sums(_apart(thin[..., :-1], thin[..., 1:]).sum(axis=1, dtype=np.uint16), _BLOCK - 1, _BLOCK)
    each = part.reshape(-1, columns, _BLOCK)[..., ::_THIRD]
    kept = each.shape[2]
    lines = np.ascontiguousarray(each).reshape(rows, _BLOCK, columns * kept)
    down = _sums(_apart(lines[:, :-1], lines[:, 1:]).sum(axis=1, dtype=np.uint16), kept, kept)
    light, dark = lines.max(axis=1), lines.min(axis=1)
    light = np.maximum.reduce([light[:, at::kept] for at in range(kept)])
    dark = np.minimum.reduce([dark[:, at::kept] for at in range(kept)])
    mean = _sums(lines.sum(axis=1, dtype=np.uint16), kept, kept) / (kept * _BLOCK)
    share = (mean - dark) / np.maximum(light - dark.astype(np.float64), 1)
    edges = np.maximum(across, down) / (kept * (_BLOCK - 1))
    return np.where(edges >= _BUSY, edges * (4 * share * (1 - share)) ** 2, 0.0)


def _apart(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.maximum(one, other) - np.minimum(one, other)


def _sums(values: NDArray[np.uint16], count: int, step: int) -> NDArray[np.float64]:
    """The first `count` of every `step` columns together. By whole columns: numpy is slow at many small sums."""
    total = values[:, ::step].astype(np.float64)
    for at in range(1, count):
        total += values[:, at::step]
    return total


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


def _sum_again(sums: NDArray[np.float64], score: NDArray[np.float64], side: int, part: _Part) -> None:
    """Bring the sums of all windows up to date that have something of a part."""
    top, left = max(0, part.top - side), max(0, part.left - side)
    bottom, right = part.top + part.height, part.left + part.width
    there = sums[top:bottom, left:right]
    there[:] = _window_sums(score[top : bottom + side, left : right + side], side)[: there.shape[0], : there.shape[1]]


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


def _around(busy: NDArray[np.bool_], row: int, column: int, core: int, most: int) -> _Part:
    """All that is busy around a busy place, up to so many blocks each way, twice as many for a long code; with some room
    for what must stay free around it."""
    low, high, start, end = row, row + core, column, column + core
    for _ in range(2):  # the second time along all of what the first has found
        start, end = _run(busy[low:high].mean(axis=0), column, column + core, 2 * most)
        low, high = _run(busy[:, start:end].mean(axis=1), row, row + core, 2 * most)
    if end - start > most and high - low > most:  # a surface, larger than a code of such fine parts
        low, high = row + (core - most) // 2, row + (core + most) // 2
        start, end = column + (core - most) // 2, column + (core + most) // 2
    low, start = max(0, low - _ROOM), max(0, start - _ROOM)
    return _Part(low, start, high + _ROOM - low, end + _ROOM - start)


def _run(shares: NDArray[np.float64], start: int, end: int, most: int) -> tuple[int, int]:
    """How far a busy stretch goes on, over small gaps: a gray where bars are too fine for the first look."""
    busy, first, last = shares > _GOES_ON, start, end
    while first > 0 and last - first < most and busy[max(0, first - _GAP) : first].any():
        first -= 1
    while last < len(busy) and last - first < most and busy[last : last + _GAP].any():
        last += 1
    return first, last
