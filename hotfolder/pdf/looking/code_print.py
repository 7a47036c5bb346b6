"""Measures what decides whether a code scans once it is printed: module size, contrast, free space around it.

Standards named here (ISO/IEC 18004, 16022, 24778, 15438, 15420, 15417, 16388, 16390, 15416) are from memory.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hotfolder.finding import Box
from hotfolder.pdf.looking.codes import Code, Point
from hotfolder.units import INCH

#: Free space that each kind needs, in modules: before its first bar and behind its last; square codes need it all around.
QUIET: dict[str, tuple[float, float]] = {
    "QR Code": (4, 4),  # ISO/IEC 18004
    "Micro QR Code": (2, 2),
    "rMQR Code": (2, 2),
    "Data Matrix": (1, 1),  # ISO/IEC 16022
    "Aztec": (0, 0),  # ISO/IEC 24778
    "PDF417": (2, 2),  # ISO/IEC 15438
    "EAN-13": (11, 7),  # ISO/IEC 15420
    "EAN-8": (7, 7),
    "UPC-A": (9, 9),
    "UPC-E": (9, 7),
    "Code 128": (10, 10),  # ISO/IEC 15417
    "Code 39": (10, 10),  # ISO/IEC 16388
    "ITF-14": (10, 10),  # ISO/IEC 16390
    "ITF": (10, 10),
}
STRIPES = frozenset(("EAN-13", "EAN-8", "UPC-A", "UPC-E", "Code 128", "Code 39", "ITF-14", "ITF"))
_MODULES = {"EAN-13": 95, "EAN-8": 67, "UPC-A": 95, "UPC-E": 51}
_FOREIGN = 0.3  # of the difference between light and dark, from which a pixel in the free space is something else
_SPECKS = 0.06  # of the pixels along a side that may be something else: edges, dust, traces of packing a picture
_FIRST, _STEP = 0.5, 0.25  # modules; nearer than the first, a smoothed edge of the code itself would count


@dataclass(frozen=True)
class Measured:
    """Lengths in points, contrasts from 0 to 1 as differences of reflectance (ISO/IEC 15416: symbol contrast)."""

    module: float
    contrast: float
    red_contrast: float  # as a scanner with a red light sees it
    reversed: bool  # light on dark
    quiet: float  # the least free space, in modules, where it falls shortest of what is needed
    needed: float  # there
    zone: Box  # the code with all the free space that it needs, in the page's user space


def measure(code: Code, printed: NDArray[np.uint8] | None = None) -> Measured:
    """Measure a code in its close picture. `printed`: the same in the colours that its plates give, if that is known."""
    pixels = np.asarray(code.drawn.picture)
    light = _linear(printed if printed is not None and printed.shape == pixels.shape else pixels)
    luminance = light @ np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1
    grid = _Grid(code.corners)
    columns, rows = _count(code, luminance, grid)
    inside = grid.sample(luminance, np.linspace(0.01, 0.99, 200), np.linspace(0.05, 0.95, 60))
    dark, bright = (float(np.percentile(inside, share)) for share in (8, 92))
    red = grid.sample(light[:, :, 0], np.linspace(0.01, 0.99, 200), np.linspace(0.05, 0.95, 60))
    turned = _is_reversed(code, luminance, grid, columns, (dark + bright) / 2)
    quiet, needed = _free(code, luminance, grid, (columns, rows), (bright, dark) if turned else (dark, bright))
    module = math.dist(code.corners[0], code.corners[1]) / columns / code.drawn.ppi * INCH
    reds = [float(np.percentile(red, share)) for share in (8, 92)]
    return Measured(module, bright - dark, reds[1] - reds[0], turned, quiet, needed, _zone(code, grid, columns, rows))


class _Grid:
    """Places in a code: (0, 0) its upper left corner, (1, 1) its lower right one, beyond them what stands around."""

    def __init__(self, corners: tuple[Point, Point, Point, Point]) -> None:
        self._corners = np.array(corners, np.float64)

    def points(self, across: NDArray[np.float64], down: NDArray[np.float64]) -> NDArray[np.float64]:
        """Pixels (down, across, 2) of all pairs of places."""
        u, v = across[None, :, None], down[:, None, None]
        a, b, c, d = self._corners
        return np.asarray(a * (1 - u) * (1 - v) + b * u * (1 - v) + c * u * v + d * (1 - u) * v)

    def sample(
        self, values: NDArray[np.float64], across: NDArray[np.float64], down: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        at = np.floor(self.points(across, down)).astype(np.intp)
        rows, columns = (np.clip(at[:, :, axis], 0, values.shape[1 - axis] - 1) for axis in (1, 0))
        return np.asarray(values[rows, columns])


def _linear(pixels: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Reflectance by channel (IEC 61966-2-1)."""
    steps = np.arange(256) / 255
    table = np.where(steps <= 0.04045, steps / 12.92, ((steps + 0.055) / 1.055) ** 2.4)
    return np.asarray(table[pixels])


def _count(code: Code, luminance: NDArray[np.float64], grid: _Grid) -> tuple[float, float]:
    """How many modules the code has across and down (down: of codes in stripes, as if modules were square)."""
    across, down = (math.dist(code.corners[0], code.corners[at]) for at in (1, 3))
    if found := re.fullmatch(r"(\d+)x(\d+)", code.version):  # Data Matrix says rows by columns
        return float(found[2]), float(found[1])
    if code.kind == "QR Code" and code.version.isdigit():
        columns = 17.0 + 4 * int(code.version)
    elif code.kind in _MODULES:
        columns = float(_MODULES[code.kind])
    elif found := re.fullmatch(r"M([1-4])", code.version):
        columns = 9.0 + 2 * int(found[1])
    else:
        columns = _by_runs(luminance, grid, across)
    return columns, max(1.0, columns * down / max(across, 1e-6))


def _by_runs(luminance: NDArray[np.float64], grid: _Grid, across: float) -> float:
    """Modules across, from the narrowest dark and light parts along lines through the code."""
    places = np.linspace(0, 1, max(50, 4 * round(across)))
    lines = grid.sample(luminance, places, np.linspace(0.2, 0.8, 15))
    middle = (lines.min() + lines.max()) / 2
    narrow: list[list[float]] = [[], []]
    for line in lines > middle:
        ends = np.flatnonzero(np.diff(line))
        runs = np.diff(ends) / len(places)
        for shade in (0, 1):
            narrow[shade] += runs[shade::2].tolist() if not line[0] else runs[1 - shade :: 2].tolist()
    # Ink that spreads makes dark parts wider and light ones narrower: the mean of both stays.
    widths = [float(np.percentile(each, 15)) for each in narrow if each]
    return max(1.0, 1 / (sum(widths) / len(widths))) if widths and sum(widths) > 0 else 50.0


def _is_reversed(code: Code, luminance: NDArray[np.float64], grid: _Grid, columns: float, middle: float) -> bool:
    """Whether the first bar, or the pattern by which readers find a square code, is light."""
    across = np.array([0.5 / columns])
    if code.kind == "Aztec":  # its middle is dark
        return bool(grid.sample(luminance, np.array([0.5]), np.array([0.5])).mean() > middle)
    # QR: the left side of its upper left square; Data Matrix: its left border; stripes: their first bar.
    down = np.linspace(0.5, 6.5, 7) / columns if "QR" in code.kind else np.linspace(0.3, 0.6, 7)
    return bool(np.median(grid.sample(luminance, across, down)) > middle)


def _free(
    code: Code,
    luminance: NDArray[np.float64],
    grid: _Grid,
    counts: tuple[float, float],
    tones: tuple[float, float],
) -> tuple[float, float]:
    """The free space on the side that falls shortest, and what is needed there, in modules. `tones`: pattern, ground."""
    (columns, rows), (_, ground) = counts, tones
    allowed = _FOREIGN * abs(tones[0] - tones[1])
    before, behind = QUIET.get(code.kind, (0.0, 0.0))
    # The digit before an EAN-13 stands in its free space, but below the height at which it is read.
    along = np.linspace(0.15, 0.6, 60) if code.kind in STRIPES else np.linspace(0, 1, 120)
    sides = [(before, -1 / columns, 0.0, True), (behind, 1 / columns, 1.0, True)]
    if code.kind not in STRIPES:
        sides += [(before, -1 / rows, 0.0, False), (behind, 1 / rows, 1.0, False)]
    worst = (math.inf, 0.0, 0.0)
    for needed, step, edge, across in sides:
        free = needed
        for far in np.arange(_FIRST, needed, _STEP):
            place = np.array([edge + far * step])
            seen = grid.sample(luminance, *((place, along) if across else (along, place)))
            if (abs(seen - ground) > allowed).mean() > _SPECKS:
                free = float(far) - _STEP
                break
        if needed and free / needed < worst[0]:
            worst = (free / needed, free, needed)
    return worst[1], worst[2]


def _zone(code: Code, grid: _Grid, columns: float, rows: float) -> Box:
    before, behind = QUIET.get(code.kind, (0.0, 0.0))
    across = np.array([-before / columns, 1 + behind / columns])
    down = np.array([0.0, 1.0]) if code.kind in STRIPES else np.array([-before / rows, 1 + behind / rows])
    points = grid.points(across, down).reshape(-1, 2)
    (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
    return code.drawn.box(left, top, right, bottom)
