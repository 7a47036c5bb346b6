"""Gives lines that are too thin to print a least width on paper; their shape, colour and dashes stay."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from decimal import Decimal

from pikepdf import Object

from hotfolder.finding import Box
from hotfolder.pdf.objects import dictionary, entry, identity, name, same_object, stream_bytes
from hotfolder.pdf.values.spaces import RGB
from hotfolder.pdf.walk.content import Operation, Scanner, parse_number, write_name
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.painted import glyphs
from hotfolder.pdf.walk.pens import Span, path_points, path_span, pen_span
from hotfolder.pdf.walk.state import IDENTITY, Matrix, State, multiply

SLACK = 1e-3  # of the least width: what programs lose by rounding
EVEN = 2.0  # scaled more unevenly than this, a line that is wide enough in one direction is far too wide in the other
FLAT = 1e-6  # a matrix that leaves less than this of a width paints nothing to speak of
MOST_SPOTS = 500  # remembered of each page; all are counted

_BEGINS = frozenset((b"m", b"re"))
_STROKES = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_FILLED = frozenset((b"B", b"B*", b"b", b"b*"))
_CLOSING = frozenset((b"s", b"b", b"b*"))
_ENDS = frozenset((b"f", b"F", b"f*", b"n"))
_SHOWN = frozenset((b"Tj", b"TJ", b"'", b'"'))
_STROKING = Scanner((*_STROKES, *_SHOWN, b"Do"))
_STROKE_MODES, _BOTH_MODES = (1, 2, 5, 6), (2, 6)  # ISO 32000-1 table 106


@dataclass(frozen=True, slots=True)
class Spot:
    """A thin line: its width on paper in points before, where its path lies (None: not known), a place next to it."""

    width: float
    box: Box | None
    at: tuple[float, float] = (0.0, 0.0)


@dataclass
class Lines:
    """Lines of one page; a form that is drawn several times in one size is counted once."""

    count: int = 0
    thinnest: float = 0.0
    spots: list[Spot] = field(default_factory=list)

    def add(self, spot: Spot) -> None:
        thinner = self.count == 0 or spot.width < self.thinnest
        self.thinnest = spot.width if thinner else self.thinnest
        self.count += 1
        if thinner or len(self.spots) < MOST_SPOTS:
            self.spots.append(spot)


class ThickenLines(Mapping):
    """Sets a line width before a path or text whose stroke would be thinner than `least` points on paper.

    Nothing else changes: no point of a path, no dash, no colour. A stroke in the colour of the area or letter that it
    edges is no line, and stays. Lines in soft masks stay. Under uneven scaling the thinner direction decides; where the
    other direction would come out more than twice as wide, no part is made wider than `least`, and what stays thin is
    in `left`.
    """

    watched = (*_BEGINS, *_STROKES, *_ENDS, *_SHOWN, b"w", b"gs", b"q", b"Q", b"cm", b"BT", b"Tm", b"Tr", b"Tz")
    shapes = True
    target = RGB  # No colour is written, so no overprint mode either.

    def __init__(self, least: float) -> None:
        self.least = least
        self.unit = 1.0  # points to one unit of the page's space; whoever walks sets it for each page
        self.done: dict[int, Lines] = {}
        self.left: dict[int, Lines] = {}
        self._stroking: dict[object, bool] = {}  # Type 3 fonts, and whether their letters may have strokes

    def depends(self, state: State) -> object:
        a, b, c, d, _, _ = state.ctm
        # What a matrix does to a pen, whichever way it turns it.
        pen = tuple(float(f"{part:.5g}") for part in (a * a + b * b, c * c + d * d, a * c + b * d))
        return pen, self.unit, state.line_width, state.written_width, state.in_mask

    def operation(self, frame: Frame, operation: Operation) -> None:
        operator, state, memory = operation.operator, frame.state, frame.memory
        if operator in _BEGINS:
            memory.setdefault("begins", operation.start)
            memory.setdefault("sets", operation.start)
        elif operator in _STROKES:
            self._path(frame, operation)
        elif operator in _ENDS:
            _forget(memory)
        elif operator in _SHOWN:
            self._text(frame, operation)
        elif operator == b"Tm":
            a, b, c, d, _, _ = (parse_number(token) for token in operation.operands[-6:])
            memory["text"] = (a, b, c, d, 0.0, 0.0)
        elif operator == b"BT":
            memory.pop("text", None)
        elif operator == b"Tr":
            state.text_mode = int(parse_number(operation.operands[-1]))
        elif operator == b"Tz":
            state.text_scale = parse_number(operation.operands[-1]) / 100
        else:
            if operator == b"w":
                state.line_width = state.written_width = parse_number(operation.operands[-1])
            if "sets" in memory:  # inside a path, where it should not stand: what is set before the path may be lost
                memory["sets"] = operation.end

    # ---- strokes

    def _path(self, frame: Frame, operation: Operation) -> None:
        begins, sets = _forget(frame.memory)
        if begins is None or sets is None or frame.state.in_mask:
            return
        if operation.operator in _FILLED and _edges_itself(frame):
            return
        ctm = frame.state.ctm
        span, path = pen_span(ctm), frame.data[begins : operation.start]
        if span.most > span.least * (1 + SLACK) and self._thin(frame.state, span):
            span = path_span(path, ctm, closed=operation.operator in _CLOSING)
        self._stroke(frame, sets, span, path)

    def _text(self, frame: Frame, operation: Operation) -> None:
        if name(entry(frame.state.font, "/Subtype")) == "Type3":
            self._drawn_letters(frame, operation)
        elif frame.state.text_mode in _STROKE_MODES and not frame.state.in_mask:
            if frame.state.text_mode in _BOTH_MODES and _edges_itself(frame):
                return
            # The pen is that of the page's space, whatever the letters' size (9.3.6).
            self._stroke(frame, operation.start, pen_span(frame.state.ctm), b"")

    def _thin(self, state: State, span: Span) -> bool:
        return span.least > FLAT and abs(state.line_width) * span.least * self.unit < self.least * (1 - SLACK)

    def _stroke(self, frame: Frame, at: int, span: Span, path: bytes) -> None:
        state = frame.state
        wanted = state.line_width
        if self._thin(state, span):
            wanted = self._wanted(frame, span, path)
        if wanted != state.written_width:
            frame.changes.add(at, at, _decimal(wanted) + b" w")
            state.written_width = wanted

    def _wanted(self, frame: Frame, span: Span, path: bytes) -> float:
        """The line width to set for a line that is too thin, in its own space."""
        width, least = abs(frame.state.line_width), self.least / self.unit
        uneven = span.most > EVEN * span.least
        wanted = float(f"{least / (span.most if uneven else span.least):.6g}")
        on_paper = width * span.least * self.unit
        known = self.done.get(frame.page)
        # Where it stands is worked out for the first lines and for each that is thinner than all before.
        needed = known is None or len(known.spots) < MOST_SPOTS or on_paper < known.thinnest or uneven
        spot = _spot(on_paper, path_points(path, frame.state.ctm) if needed else [])
        for found in [self.done] * (wanted > width) + [self.left] * uneven:
            found.setdefault(frame.page, Lines()).add(spot)
        return wanted if wanted > width else frame.state.line_width

    # ---- letters that are drawings

    def _drawn_letters(self, frame: Frame, operation: Operation) -> None:
        """Type 3 letters take their scale from where they are shown: each size gets a font of its own (9.6.5)."""
        state, font = frame.state, frame.state.font
        chosen = next((key for key, (found, _) in frame.fonts.items() if same_object(found, font)), None)
        if chosen is None or frame.state.in_mask or not self._may_stroke(font):
            return
        inner, text = state.copy(), frame.memory.get("text", IDENTITY)
        size: Matrix = (state.font_size * state.text_scale, 0.0, 0.0, state.font_size, 0.0, 0.0)
        inner.ctm = multiply(multiply(size, text), state.ctm)  # type: ignore[arg-type]
        now = glyphs(frame.walker, font, frame.resources, inner, frame.depth)
        if isinstance(now, Object) and not same_object(now, font):
            written = frame.edits.use("/Font", chosen, now)
            for at, key in ((operation.start, written), (operation.end, chosen)):
                frame.changes.add(at, at, write_name(key) + b" " + _decimal(state.font_size) + b" Tf")

    def _may_stroke(self, font: object) -> bool:
        """Whether a letter of the font may stroke anything: most don't, and need not be followed in each size."""
        key = identity(font)
        if key is None or key not in self._stroking:
            self._stroking[key] = any(map(_STROKING.touches, _letters(font)))
        return self._stroking[key]


def _spot(width: float, points: list[tuple[float, float]]) -> Spot:
    if not points:
        return Spot(width, None)
    xs, ys = zip(*points, strict=True)
    # Between its first two points: on the line itself, unless it begins with a curve.
    at = (sum(xs[:2]) / len(xs[:2]), sum(ys[:2]) / len(ys[:2]))
    return Spot(width, Box(min(xs), min(ys), max(xs), max(ys)), at)


def _letters(font: object) -> Iterator[bytes]:
    """The drawing instructions of a Type 3 font's letters, as far as they can be read."""
    procedures = dictionary(entry(font, "/CharProcs"))
    for key in procedures.keys():  # noqa: SIM118
        with suppress(ValueError):
            yield stream_bytes(procedures[key])


def _forget(memory: dict[str, object]) -> tuple[int | None, int | None]:
    """Where the path began that now ends, and where a width may be set for it."""
    begins, sets = memory.pop("begins", None), memory.pop("sets", None)
    return (begins, sets) if isinstance(begins, int) and isinstance(sets, int) else (None, None)


def _edges_itself(frame: Frame) -> bool:
    """Whether what is filled and stroked at once has one colour. A form's caller may set colours that differ."""
    state = frame.state
    if state.uncoloured:
        return True
    fill, stroke = state.fill, state.stroke
    return (
        frame.owns_both
        and (fill.space.key, fill.values, fill.pattern) == (stroke.space.key, stroke.values, stroke.pattern)
        and state.alpha_fill == state.alpha_stroke
    )


def _decimal(value: float) -> bytes:
    """A number as PDF has it: without an exponent (7.3.3)."""
    return format(Decimal(repr(value)).normalize(), "f").encode()
