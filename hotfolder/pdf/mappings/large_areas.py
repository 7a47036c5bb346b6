"""Finds large areas of black as they are painted, and lays the other inks under them: black alone prints gray there."""

from typing import NamedTuple

import numpy as np

from hotfolder.colour.condition import Condition
from hotfolder.pdf.values.spaces import Floats
from hotfolder.pdf.walk.content import Operation, parse_number, write_numbers
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.state import Matrix, State

_ADDS = {b"m": 1, b"l": 1, b"c": 3, b"v": 2, b"y": 2, b"re": 0}
_FILLS = {b"f": False, b"F": False, b"f*": True, b"B": False, b"B*": True, b"b": False, b"b*": True}
_CLIPS = (b"W", b"W*")
WATCHED = (*_ADDS, *_FILLS, *_CLIPS, b"h", b"n", b"S", b"s")
_BLACK = (0.0, 0.0, 0.0, 1.0)
_MOST_POINTS = 100_000
_FAR = 1e9
# Of the square over `rich_black_from`: less than that is a frame or a slanting line, not an area.
_LEAST_SHARE = 0.5


class _Path(NamedTuple):
    """A path under construction: where it begins in the stream, and its parts' points. `known`: it could be followed,
    and is no clip, which would have to stay in force."""

    start: int
    parts: list[list[tuple[float, float]]]
    known: bool = True


class LargeAreas:
    """Watches one mapping's paths. Only filled paths count: never text, nor anything that overprints or is transparent."""

    def __init__(self, mapping: Mapping, condition: Condition) -> None:
        self.mapping = mapping
        recipe = tuple(amount / 100 for amount in condition.rich_black)
        self.operator = write_numbers(recipe) + b" k"  # what sets the colour of a large area
        self.least = condition.rich_black_from

    def operation(self, frame: Frame, operation: Operation) -> None:
        operator = operation.operator
        path = frame.memory.get("area")
        if operator in _ADDS:
            if not isinstance(path, _Path):
                frame.memory["area"] = path = _Path(operation.start, [])
            try:
                _extend(path, operation, frame.state.ctm)
            except ValueError:  # a number nobody can use: the area isn't known, and that is nothing to hold a job for
                frame.memory["area"] = path._replace(known=False)
        elif operator in _CLIPS and isinstance(path, _Path):
            frame.memory["area"] = path._replace(known=False)
        elif operator != b"h":
            frame.memory.pop("area", None)
            if operator in _FILLS and isinstance(path, _Path) and path.known:
                self._filled(frame, operation, path)

    def _filled(self, frame: Frame, operation: Operation, path: _Path) -> None:
        if not _solid(frame.state) or not _is_large(path, self.least, _FILLS[operation.operator]):
            return
        if frame.changes.end > path.start or not self.is_black(frame.state):
            return  # something was changed inside of the path, where no operator belongs
        frame.uses_callers_colours()
        frame.changes.add(path.start, path.start, b"q " + self.operator)
        frame.changes.add(operation.end, operation.end, b"Q")
        frame.walker.result.changed["areas"] += 1

    def is_black(self, state: State) -> bool:
        """Whether areas are now filled with black ink alone, all of it, as the file has it or as it will be."""
        colour = state.fill
        space = colour.space
        if colour.pattern or space.kind == "Pattern" or space.inks:
            return False
        if space.kind == "DeviceGray":
            return colour.values == (0.0,)
        if space.kind == "DeviceCMYK" and not self.mapping.converts_inks:
            return colour.values == _BLACK
        values: Floats = np.array([colour.values])
        try:
            return tuple(self.mapping.colours(space, values, False)[0].tolist()) == _BLACK
        except ValueError:
            return False  # told where the colour is written

    def depends(self, state: State) -> object:
        """What of a caller's state decides which of a form's areas are large and black."""
        shown = tuple(round(number, 3) for number in state.ctm[:4])
        return shown, _solid(state), (state.fill.space.key, state.fill.values, state.fill.pattern)


def _solid(state: State) -> bool:
    plain = state.alpha_fill == 1 and state.blend in ("Normal", "Compatible") and not state.masked
    return plain and not state.overprint_fill and not state.in_glyph and not state.uncoloured


def _extend(path: _Path, operation: Operation, ctm: Matrix) -> None:
    numbers = [parse_number(token) for token in operation.operands]
    if operation.operator == b"re":
        if len(numbers) < 4:
            return
        x, y, width, height = numbers[-4:]
        numbers = [x, y, x + width, y, x + width, y + height, x, y + height]
    if operation.operator in (b"m", b"re") or not path.parts:
        path.parts.append([])
    if len(path.parts[-1]) < _MOST_POINTS:
        a, b, c, d, e, f = ctm
        path.parts[-1] += [
            (_within(x * a + y * c + e), _within(x * b + y * d + f))
            for x, y in zip(numbers[::2], numbers[1::2], strict=False)
        ]


def _within(place: float) -> float:
    """A coordinate no page is as large as, in place of one beyond it or of no number at all."""
    return max(-_FAR, min(_FAR, place)) if place == place else 0.0


def _is_large(path: _Path, least: float, even_odd: bool) -> bool:
    """Both sides of its box, and what it covers, curves taken as their control points."""
    points = np.array([point for part in path.parts for point in part]).reshape(-1, 2)
    if len(points) < 3 or np.ptp(points, axis=0).min() < least:
        return False
    sizes = [_area(np.array(part)) for part in path.parts if len(part) > 2]
    covered = 2 * max(map(abs, sizes)) - sum(map(abs, sizes)) if even_odd and sizes else abs(sum(sizes))
    return covered >= _LEAST_SHARE * least * least


def _area(points: Floats) -> float:
    """With its sign, which tells the direction (the shoelace formula)."""
    x, y = (points - points[0]).T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
