"""Frees codes from what stands too near to them, so that they can be read at all, and be told of.

Readers find a code by the free space around it. One without any is not found by the reader here either, nor by a scanner:
the very codes that most need a word would be passed over in silence. So where bars stand as codes in stripes begin and end,
all beside them is painted white; and all that is lighter than a code's own dark parts is, for square codes.
Patterns of bars are those of ISO/IEC 15420, 15417 and 16388 (from memory). Whether it is a code, the reader says.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

Gray = NDArray[np.uint8]
_EVERY = 14  # pixels from one line that is looked along to the next
_MOST = 4  # stretches of bars in a picture that are tried
_FEWEST = 40  # edges of bars along a line: the shortest codes have 44
_LEAST_CONTRAST = 60  # of 255 along a line
_LOOSE = 0.6  # modules by which a bar may be wider or narrower than it should be
_DARKER = 2.5  # tones are multiplied by this: what is lighter than 40 % becomes white
_MIDDLE = (60, 200)  # tones that change by that
_LEAST_MIDDLE = 0.03  # of the picture

#: Bars and gaps, from the first bar on, in modules. EAN and UPC by their count of runs and modules, with their guards.
_GUARDED = ((59, 95), (43, 67))
_STARTS = ((2, 1, 1, 4, 1, 2), (2, 1, 1, 2, 1, 4), (2, 1, 1, 2, 3, 2))  # Code 128
_STOP = (2, 3, 3, 1, 1, 1, 2)
_STAR = (1, 2.5, 1, 1, 2.5, 1, 2.5, 1, 1)  # Code 39 begins and ends with it; wide is 2 to 3 times narrow


def darkest(gray: Gray) -> Gray | None:
    """The picture with all white that is lighter than a code's own dark parts; None where there is next to nothing such."""
    middle = (gray > _MIDDLE[0]) & (gray < _MIDDLE[1])
    if middle.mean() < _LEAST_MIDDLE:
        return None
    return np.asarray(np.minimum(gray * _DARKER, 255), np.uint8)


def alone(gray: Gray) -> Iterator[Gray]:
    """Pictures in which all is white but a stretch that begins and ends as codes in stripes do."""
    for turned in (False, True):
        seen = np.ascontiguousarray(gray.T) if turned else gray
        for first, last in _stretches(seen):
            bars = np.full_like(seen, 255)
            bars[:, first:last] = seen[:, first:last]
            yield np.ascontiguousarray(bars.T) if turned else bars


def _stretches(gray: Gray) -> list[tuple[int, int]]:
    """Where from left to right bars begin and end as a code does, each place once."""
    found: list[tuple[int, int]] = []
    lines = gray[_EVERY // 2 :: _EVERY]
    low, high = lines.min(axis=1).astype(np.int16), lines.max(axis=1).astype(np.int16)
    dark = np.pad(lines < ((low + high) / 2)[:, None], ((0, 0), (1, 1)))
    edged = dark[:, 1:] != dark[:, :-1]
    for at in np.flatnonzero((high - low >= _LEAST_CONTRAST) & (np.count_nonzero(edged, axis=1) >= _FEWEST)).tolist():
        edges = np.flatnonzero(edged[at])  # a bar begins at every even one
        for first, last in _codes(edges):
            if all(abs(first - one) + abs(last - other) > _EVERY for one, other in found):
                found.append((max(0, first - 1), last + 1))
            if len(found) == _MOST:
                return found
    return found


def _codes(edges: NDArray[np.intp]) -> Iterator[tuple[int, int]]:
    runs = np.diff(edges)
    for count, modules in _GUARDED:
        for at in _guarded(runs, count, modules):
            yield int(edges[at]), int(edges[at + count])
    for starts, stop in ((_STARTS, _STOP), ((_STAR,), _STAR)):
        begins = sorted(at for start in starts for at in _matches(runs, start))
        ends = [at + len(stop) for at in _matches(runs, stop)]
        for begin in begins[:_MOST]:
            yield from ((int(edges[begin]), int(edges[end])) for end in ends[-1:] if end - begin > 3 * len(stop))


def _guarded(runs: NDArray[np.intp], count: int, modules: int) -> list[int]:
    """Where so many bars and gaps have guards of single modules at both ends and in the middle."""
    if len(runs) < count:
        return []
    windows = np.lib.stride_tricks.sliding_window_view(runs, count)[::2]
    module = windows.sum(axis=1) / modules
    half = count // 2
    guards = windows[:, [0, 1, 2, half - 2, half - 1, half, half + 1, half + 2, -3, -2, -1]]
    fits = (np.abs(guards / module[:, None] - 1) <= _LOOSE).all(axis=1)
    return [2 * int(at) for at in np.flatnonzero(fits)]


def _matches(runs: NDArray[np.intp], pattern: tuple[float, ...]) -> list[int]:
    """Where bars and gaps are as wide, one to the other, as the pattern says."""
    if len(runs) < len(pattern):
        return []
    windows = np.lib.stride_tricks.sliding_window_view(runs, len(pattern))[::2]
    module = windows.sum(axis=1) / sum(pattern)
    fits = (np.abs(windows / module[:, None] - np.array(pattern)) <= _LOOSE).all(axis=1)
    return [2 * int(at) for at in np.flatnonzero(fits)]
