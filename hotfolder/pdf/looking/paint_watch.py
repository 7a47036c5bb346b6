"""Follows paths and text closely enough to tell what is painted where, how thin lines are, and how small text is."""

import math

from hotfolder.pdf.walk.content import Operation, parse_number
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.state import IDENTITY, Box, Matrix, State, multiply, transform_box

_POINTS = {b"m": 1, b"l": 1, b"c": 3, b"v": 2, b"y": 2}
_FILLS = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKES = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_SHOWN = frozenset((b"Tj", b"TJ", b"'", b'"'))
_TEXT_STATE = frozenset((b"BT", b"Td", b"TD", b"Tm", b"T*", b"TL", b"Tz", b"Tr"))
# ISO 32000-1 table 106: which text modes fill, and which stroke; mode 3 shows nothing, 7 only clips.
_FILL_MODES, _STROKE_MODES = (0, 2, 4, 6), (1, 2, 5, 6)


class PaintWatch(Mapping):
    """Changes nothing; calls `painted`, `line_drawn` and `text_shown`, which a census overrides."""

    every_use = True
    watched = (*_POINTS, b"re", b"n", b"w", *_FILLS | _STROKES, *_SHOWN, *_TEXT_STATE)

    def painted(self, frame: Frame, how: str, box: Box | None) -> None:
        """Something is painted with the frame's colours; how: fill, stroke or text."""

    def line_drawn(self, frame: Frame, width: float, box: Box | None) -> None:
        """A path is stroked this wide, in units of the page's space (the thinner direction of a skewed pen)."""

    def text_shown(self, frame: Frame, size: float, box: Box | None) -> None:
        """Visible text is shown at this size, in units of the page's space; the box is a guess: widths are unknown."""

    def operation(self, frame: Frame, operation: Operation) -> None:
        operator = operation.operator
        watch = frame.memory
        if operator in _POINTS or operator == b"re":
            _extend(watch, operation, frame.state.ctm)
        elif operator in _SHOWN:
            self._show(frame, operation)
        elif operator in _TEXT_STATE:
            _text_state(watch, operation, frame.state)
        elif operator == b"w":
            frame.state.line_width = abs(parse_number(operation.operands[-1]))
        else:
            self._paint(frame, operator)

    def _paint(self, frame: Frame, operator: bytes) -> None:
        box = frame.memory.pop("path", None)
        if not isinstance(box, tuple):
            return
        if operator in _FILLS:
            self.painted(frame, "fill", box)
        if operator in _STROKES:
            self.painted(frame, "stroke", box)
            self.line_drawn(frame, frame.state.line_width * narrowest(frame.state.ctm), box)

    def _show(self, frame: Frame, operation: Operation) -> None:
        watch, state = frame.memory, frame.state
        if operation.operator in (b"'", b'"'):
            _next_line(watch, 0.0, -state.leading)
        length = sum(len(token) for token in operation.operands)
        if length <= 2 or state.text_mode in (3, 7):
            return
        matrix = multiply(_matrix(watch), state.ctm)
        size = state.font_size * math.hypot(matrix[2], matrix[3])
        # Half a size for each byte: a guess good enough to point at the place.
        width = state.font_size * state.text_scale * min(length, 200) * 0.4
        box = transform_box((0.0, -0.2 * state.font_size, width, 0.8 * state.font_size), matrix)
        self.text_shown(frame, abs(size), box)
        if state.text_mode in _FILL_MODES:
            self.painted(frame, "text", box)
        if state.text_mode in _STROKE_MODES:
            self.painted(frame, "stroke", box)


def narrowest(ctm: Matrix) -> float:
    """The smaller singular value of a matrix: by how much it scales in its thinner direction."""
    a, b, c, d, _, _ = ctm
    total, product = a * a + b * b + c * c + d * d, abs(a * d - b * c)
    return math.sqrt(max(0.0, (total - math.sqrt(max(0.0, total * total - 4 * product * product))) / 2))


def _extend(watch: dict[str, object], operation: Operation, ctm: Matrix) -> None:
    """Grows the current path's box by the operator's points: curves stay within their control points."""
    numbers = [parse_number(token) for token in operation.operands]
    if operation.operator == b"re":
        x, y, width, height = numbers[-4:]
        numbers = [x, y, x + width, y, x, y + height, x + width, y + height]
    a, b, c, d, e, f = ctm
    box = watch.get("path")
    left, bottom, right, top = box if isinstance(box, tuple) else (math.inf, math.inf, -math.inf, -math.inf)
    for x, y in zip(numbers[::2], numbers[1::2], strict=False):
        u, v = x * a + y * c + e, x * b + y * d + f
        left, bottom, right, top = min(left, u), min(bottom, v), max(right, u), max(top, v)
    watch["path"] = (left, bottom, right, top)


def _text_state(watch: dict[str, object], operation: Operation, state: State) -> None:
    """Text objects and their positions (9.4.2) as far as size and place depend on them."""
    operator = operation.operator
    numbers = [parse_number(token) for token in operation.operands]
    if operator == b"BT":
        watch["text"] = watch["line"] = IDENTITY
    elif operator == b"Tm":
        a, b, c, d, e, f = numbers[-6:]
        watch["text"] = watch["line"] = (a, b, c, d, e, f)
    elif operator in (b"Td", b"TD"):
        x, y = numbers[-2:]
        _next_line(watch, x, y)
        state.leading = -y if operator == b"TD" else state.leading
    elif operator == b"T*":
        _next_line(watch, 0.0, -state.leading)
    elif operator == b"TL":
        state.leading = numbers[-1]
    elif operator == b"Tz":
        state.text_scale = numbers[-1] / 100
    else:
        state.text_mode = int(numbers[-1])


def _next_line(watch: dict[str, object], x: float, y: float) -> None:
    watch["text"] = watch["line"] = multiply((1.0, 0.0, 0.0, 1.0, x, y), _matrix(watch))


def _matrix(watch: dict[str, object]) -> Matrix:
    found = watch.get("text")
    return found if isinstance(found, tuple) else IDENTITY
