"""Sets overprinting right: white that would vanish, and, if asked, small black text and lines that would knock out."""

from __future__ import annotations

from dataclasses import dataclass, field

from pikepdf import Dictionary, Name, Object

from hotfolder.finding import Box
from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.looking.ink_watch import is_lost_white, knocks_out_black
from hotfolder.pdf.looking.outlines import COUNTS, Outline, around
from hotfolder.pdf.looking.text_watch import TextWatch
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import Operation, parse_number, write_name
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.state import UNIT, narrowest, transform_box

_FILLS = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKES = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_SHOWN = frozenset((b"Tj", b"TJ", b"'", b'"'))


@dataclass
class Set:
    """What was set on one page, and where first (None: not known)."""

    count: int = 0
    box: Box | None = None

    def add(self, box: Box | None) -> None:
        self.count += 1
        self.box = self.box or box


@dataclass
class Done:
    """By page (from 1): white that knocks out now, black text and black lines that overprint now."""

    white: dict[int, Set] = field(default_factory=dict)
    black: dict[int, Set] = field(default_factory=dict)
    lines: dict[int, Set] = field(default_factory=dict)


class SetOverprint(TextWatch):
    """Wraps each such object in a graphics state of its own, and brings the former one back behind it.

    Only clear cases: a single colour without any ink that spares all below it; text and lines in black ink alone. It leaves
    patterns, gradients, pictures and drawn letters (Type 3) alone, and, unless `inherited`, what is painted in a colour
    that another stream has set: the same form may stand elsewhere in another colour.
    """

    watched = (*TextWatch.watched, *COUNTS, *_FILLS | _STROKES, b"n", b"w", b"Do", b"BI")
    passes_copies = False  # bleed made of the art is to print as the art does

    def __init__(
        self,
        *,
        white: bool = True,
        black_below: float = 0.0,
        lines_below: float = 0.0,
        unit: float = 1.0,
        inherited: bool = False,
    ) -> None:
        """`black_below`, `lines_below`: size and width in points on paper below which black text and black lines
        overprint; `unit`: points to one unit of the page's space."""
        super().__init__()
        self.white, self.black_below, self.lines_below = white, black_below, lines_below
        self.unit, self.inherited = unit, inherited
        # A form may stand on the page in several sizes.
        self.every_use = inherited or black_below > 0 or lines_below > 0
        self.done = Done()
        self._showing: Operation | None = None
        self._stencil = False

    def for_mask(self, space: Space | None) -> Mapping:
        return Mapping()

    def operation(self, frame: Frame, operation: Operation) -> None:
        operator = operation.operator
        if operator in _SHOWN:
            self._showing = operation
        if operator in TextWatch.watched:
            super().operation(frame, operation)
        elif operator in COUNTS:
            frame.memory.setdefault("begins", operation.start)
            outline = frame.memory.setdefault("outline", Outline())
            assert isinstance(outline, Outline)
            outline.draw(operation)
        elif operator == b"w":
            frame.state.line_width = abs(parse_number(operation.operands[-1]))
        elif operator in (b"Do", b"BI"):
            stencil, self._stencil = self._stencil, False
            if stencil:
                box = Box(*transform_box(UNIT, frame.state.ctm))
                self._wrap_white(frame, operation.start, operation.end, fills=True, strokes=False, box=box)
        else:
            self._painted(frame, operation)

    def _painted(self, frame: Frame, operation: Operation) -> None:
        begins, outline = frame.memory.pop("begins", None), frame.memory.pop("outline", None)
        if not isinstance(begins, int) or not isinstance(outline, Outline) or operation.operator == b"n":
            return
        # Between a path's beginning and its painting no other operators may stand (8.5.2, figure 9).
        fills, strokes, state = operation.operator in _FILLS, operation.operator in _STROKES, frame.state
        parts = outline.boxes(state.ctm)
        box = around(parts) if parts else None
        if self._wrap_white(frame, begins, operation.end, fills=fills, strokes=strokes, box=box) or fills:
            return
        thin = state.line_width * narrowest(state.ctm) * self.unit < self.lines_below
        if thin and self._may(frame, True) and knocks_out_black(state, stroke=True):
            mode = None if state.overprint_mode == 1 else 1
            self._wrap(frame, begins, operation.end, (True, state.overprint_fill), mode)
            self.done.lines.setdefault(frame.page, Set()).add(box)

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        self._stencil = space is None

    def letters_shown(self, frame: Frame, font: Font, size: float, box: Box, text: bytes) -> None:
        operation, state = self._showing, frame.state
        if operation is None or font.kind == "Type3":
            return
        fills, strokes = state.text_mode in (0, 2, 4, 6), state.text_mode in (1, 2, 5, 6)
        if self._wrap_white(frame, operation.start, operation.end, fills=fills, strokes=strokes, box=box):
            return
        small = size * self.unit < self.black_below
        if small and fills and not strokes and self._may(frame, False) and knocks_out_black(state):
            # Mode 1, so that the zeros of a black given as CMYK spare what lies below.
            mode = None if state.overprint_mode == 1 else 1
            self._wrap(frame, operation.start, operation.end, (state.overprint_stroke, True), mode)
            self.done.black.setdefault(frame.page, Set()).add(box)

    def _may(self, frame: Frame, stroke: bool) -> bool:
        return not frame.state.in_glyph and not frame.state.uncoloured and (self.inherited or frame.owns(stroke))

    def _wrap_white(self, frame: Frame, start: int, end: int, *, fills: bool, strokes: bool, box: Box | None) -> bool:
        state = frame.state
        lost = [
            paints
            and self.white
            and self._may(frame, stroke)
            and is_lost_white(colour, overprint, state.overprint_mode)
            for stroke, paints, colour, overprint in (
                (True, strokes, state.stroke, state.overprint_stroke),
                (False, fills, state.fill, state.overprint_fill),
            )
        ]
        if not any(lost):
            return False
        on = (state.overprint_stroke and not lost[0], state.overprint_fill and not lost[1])
        self._wrap(frame, start, end, on, None)
        self.done.white.setdefault(frame.page, Set()).add(box)
        return True

    def _wrap(self, frame: Frame, start: int, end: int, on: tuple[bool, bool], mode: int | None) -> None:
        state = frame.state
        frame.changes.add(start, start, self._graphics(frame, on, mode))
        former = None if mode is None else state.overprint_mode
        frame.changes.add(end, end, self._graphics(frame, (state.overprint_stroke, state.overprint_fill), former))

    def _graphics(self, frame: Frame, on: tuple[bool, bool], mode: int | None) -> bytes:
        """The operator that sets overprinting of strokes and fills (both, because OP alone sets both, table 58)."""
        known = frame.memory.setdefault("overprint", {})
        assert isinstance(known, dict)
        if (on, mode) not in known:
            made = Dictionary(Type=Name.ExtGState, OP=on[0], op=on[1])
            if mode is not None:
                made.OPM = mode
            known[on, mode] = frame.edits.add("/ExtGState", "/Overprint", frame.walker.shared(made))
        return write_name(known[on, mode]) + b" gs"
