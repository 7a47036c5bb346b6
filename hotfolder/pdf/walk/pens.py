"""Says how wide a line comes out on paper: a pen is round in the drawing's own space, and scaling flattens it."""

import math
from collections.abc import Iterator
from typing import NamedTuple

from hotfolder.pdf.walk.content import Scanner, parse_number
from hotfolder.pdf.walk.state import Matrix

MOST_PIECES = 2000  # of one path looked at; a longer one counts as running in all directions
_PATH = Scanner((b"m", b"l", b"c", b"v", b"y", b"h", b"re"))
Point = tuple[float, float]


class Span(NamedTuple):
    """What a line width is multiplied with, at least and at most, by the directions in which the line runs."""

    least: float
    most: float


def pen_span(ctm: Matrix) -> Span:
    """For a line that runs in any direction: the singular values of the matrix (ISO 32000-1 8.4.3.2)."""
    a, b, c, d, _, _ = ctm
    total, product = a * a + b * b + c * c + d * d, abs(a * d - b * c)
    most = math.sqrt((total + math.sqrt(max(0.0, total * total - 4 * product * product))) / 2)
    return Span(product / most if most > 0 else 0.0, most)


def path_span(path: bytes, ctm: Matrix, *, closed: bool) -> Span:
    """For the very path, given as its operators: straight lines run in few directions. `closed`: by its painting."""
    a, b, c, d, _, _ = ctm
    area = abs(a * d - b * c)
    least, most = math.inf, 0.0
    for count, piece in enumerate(_pieces(path, closed)):
        if piece is None or count >= MOST_PIECES:
            return pen_span(ctm)
        x, y = piece
        length = math.hypot(x * a + y * c, x * b + y * d)
        if length > 0:
            across = area * math.hypot(x, y) / length
            least, most = min(least, across), max(most, across)
    return Span(least, most) if most > 0 else pen_span(ctm)


def path_points(path: bytes, ctm: Matrix) -> list[Point]:
    """A path's points, those that bend its curves too, in the space of `ctm`."""
    a, b, c, d, e, f = ctm
    points = list[Point]()
    for operator, corners in _corners(path):
        if operator == b"re":
            (x0, y0), (x1, y1) = corners
            corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        points += corners
    return [(x * a + y * c + e, x * b + y * d + f) for x, y in points]


def _pieces(path: bytes, closed: bool) -> Iterator[Point | None]:
    """The straight pieces as differences; None for a curve, which runs in many directions."""
    start = at = (0.0, 0.0)
    for operator, corners in _corners(path):
        if operator == b"re":
            (x0, y0), (x1, y1) = corners
            yield x1 - x0, 0.0
            yield 0.0, y1 - y0
            start = at = (x0, y0)
        elif operator == b"m":
            start = at = corners[0]
        elif operator == b"h":
            yield start[0] - at[0], start[1] - at[1]
            at = start
        elif operator == b"l":
            yield corners[0][0] - at[0], corners[0][1] - at[1]
            at = corners[0]
        else:
            yield None
    if closed:
        yield start[0] - at[0], start[1] - at[1]


def _corners(path: bytes) -> Iterator[tuple[bytes, list[Point]]]:
    """Each operator with its points; of a rectangle two opposite corners. What makes no sense is passed over."""
    for operation in _PATH.scan(path):
        try:
            numbers = [parse_number(token) for token in operation.operands]
        except ValueError:
            continue
        wanted = {b"h": 0, b"m": 2, b"l": 2, b"c": 6}.get(operation.operator, 4)
        if len(numbers) < wanted:
            continue
        numbers = numbers[len(numbers) - wanted :]
        if operation.operator == b"re":
            x, y, width, height = numbers
            numbers = [x, y, x + width, y + height]
        yield operation.operator, list(zip(numbers[::2], numbers[1::2], strict=True))
