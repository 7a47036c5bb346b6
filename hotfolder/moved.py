"""Where a page's drawing went that a step moved on purpose: turned, scaled, set elsewhere on its sheet."""

from __future__ import annotations

import math
from dataclasses import dataclass

from hotfolder.finding import Box

Matrix = tuple[float, float, float, float, float, float]


@dataclass(frozen=True)
class Moved:
    """From a page's user space as it was opened to its user space now (ISO 32000-1 8.3.4): quarter turns, scaled alike.

    `trim`: width and height that the page is cut to since, in points before /Rotate, UserUnit counted.
    """

    matrix: Matrix
    trim: tuple[float, float]

    @property
    def turns(self) -> int:
        """Quarter turns to the left, 0 to 3."""
        return round(math.atan2(self.matrix[1], self.matrix[0]) / (math.pi / 2)) % 4

    @property
    def scale(self) -> float:
        """How many units one unit of before became."""
        return math.hypot(self.matrix[0], self.matrix[1])

    def now(self, box: Box) -> Box:
        """Where a box of before lies now."""
        return _through(self.matrix, box)

    def before(self, box: Box) -> Box:
        """Where a box of now lay before."""
        return _through(inverse(self.matrix), box)

    def then(self, further: Moved) -> Moved:
        """This move and a further one after it, as one."""
        a, b, c, d, e, f = self.matrix
        p, q, r, s, t, u = further.matrix
        both = (a * p + b * r, a * q + b * s, c * p + d * r, c * q + d * s, e * p + f * r + t, e * q + f * s + u)
        return Moved(both, further.trim)


@dataclass(frozen=True)
class Placed:
    """One drawing of a page of the artwork on a new sheet: which page (from 1), how it was moved, how much is seen."""

    page: int
    moved: Moved
    shown: Box  # in the new sheet's user space


@dataclass(frozen=True)
class LaidSheet:
    """A page of the finished file on which the artwork was laid out: what it is cut to, and what lies on it."""

    trim: tuple[float, float]  # points, as for Moved
    placed: tuple[Placed, ...]


def inverse(matrix: Matrix) -> Matrix:
    """The way back."""
    a, b, c, d, e, f = matrix
    area = a * d - b * c
    return d / area, -b / area, -c / area, a / area, (c * f - d * e) / area, (b * e - a * f) / area


def _through(matrix: Matrix, box: Box) -> Box:
    a, b, c, d, e, f = matrix
    xs = [a * x + c * y + e for x in (box.left, box.right) for y in (box.bottom, box.top)]
    ys = [b * x + d * y + f for x in (box.left, box.right) for y in (box.bottom, box.top)]
    return Box(min(xs), min(ys), max(xs), max(ys))
