"""Follows everything a page paints, and notes each object with its place, size and colour."""

from __future__ import annotations

from collections.abc import Callable

from pikepdf import Object, Pdf, Stream

from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.looking.layers import PrintedLayers, unused_appearances
from hotfolder.pdf.looking.outlines import APART, COUNTS, Outline, apart, around, reach_of_pen
from hotfolder.pdf.looking.painted import Inventory, Kind, Painted
from hotfolder.pdf.looking.text_watch import INVISIBLE, Piece, TextWatch
from hotfolder.pdf.objects import entry, identity
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import PATH, Operation, parse_name, parse_number
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.state import UNIT, Matrix, State, common_box, multiply, narrowest, transform_box

MOST_OBJECTS = 200_000  # of a page; the rest is counted
_FILLS = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKES = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_ONLY_STROKED = (1, 5)  # text rendering modes (Table 106)
_STROKED = (1, 2, 5, 6)
_CLIPPING = 4  # this mode and those after it cut other art to the letters' shape
_FAR = 1e7


class InventoryWatch(TextWatch):
    """Changes nothing; notes each object when it is painted."""

    watched = (*TextWatch.watched, *COUNTS, PATH, *_FILLS | _STROKES, *b"n w W W* sh ET BMC BDC EMC Do".split())
    lasting = False

    def __init__(self, pdf: Pdf, page: Object, unit: float) -> None:
        super().__init__()
        self.found, self.unit = Inventory(), unit
        self._layers = PrintedLayers(pdf)
        self._nothing = Mapping()
        self._hidden = False  # what is painted now belongs to a layer that doesn't print
        self._unused = unused_appearances(page, self._layers)
        try:
            self._paper: Box | None = read_boxes(page).media  # type: ignore[arg-type]
        except ValueError:
            self._paper = None

    # What is no object of its own

    def for_mask(self, space: Space | None) -> Mapping:
        return self._nothing

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        void = "/PatternType" in form or self._layers.hides(entry(form, "/OC")) or identity(form) in self._unused
        if not void and len(self.found.objects) >= MOST_OBJECTS:
            self.found.left_out += 1  # forms in forms multiply: what is beyond the list is not followed
            return self._nothing
        return self._nothing if void else self

    def stream_begins(self, frame: Frame, matrix: Matrix) -> None:
        frame.state.clip = common_box(frame.state.clip, self._paper)
        frame.memory["hidden"] = self._hidden

    def _skips(self, state: State) -> bool:
        return state.in_glyph or state.in_mask

    # Operators

    def operation(self, frame: Frame, operation: Operation) -> None:
        operator = operation.operator
        if self._skips(frame.state):
            return
        if operator in COUNTS or operator == PATH:
            outline = frame.memory.get("outline")
            if not isinstance(outline, Outline):
                outline = frame.memory["outline"] = Outline()
            outline.draw(operation)
        elif (handle := _HANDLED.get(operator)) is not None:
            handle(self, frame, operation)
        else:
            super().operation(frame, operation)

    def set_width(self, frame: Frame, operation: Operation) -> None:
        frame.state.line_width = abs(parse_number(operation.operands[-1]))

    def cut(self, frame: Frame, operation: Operation) -> None:
        outline = frame.memory.get("outline")
        if isinstance(outline, Outline):
            outline.clips = True

    def paint(self, frame: Frame, operation: Operation) -> None:
        outline, state = frame.memory.pop("outline", None), frame.state
        if not isinstance(outline, Outline) or not (parts := outline.boxes(state.ctm)):
            return
        fills, strokes = operation.operator in _FILLS, operation.operator in _STROKES
        if fills or strokes:
            width = state.line_width * narrowest(state.ctm) * self.unit
            across, up = reach_of_pen(state.line_width, state.ctm)
            for box in apart(parts, APART / self.unit):
                if fills:
                    self._add(frame, Kind.FILL, box, points=outline.points)
                if strokes:
                    grown = Box(box.left - across, box.bottom - up, box.right + across, box.top + up)
                    self._add(frame, Kind.STROKE, grown, size=width, stroke=True, points=outline.points)
        if outline.clips:
            state.clip = common_box(state.clip, around(parts))

    def fill_with_gradient(self, frame: Frame, operation: Operation) -> None:
        self._add(frame, Kind.GRADIENT, Box(*(frame.state.clip or (-_FAR, -_FAR, _FAR, _FAR))))

    # Layers: marked content (14.6) that belongs to one

    def mark(self, frame: Frame, operation: Operation) -> None:
        marks = frame.memory.setdefault("marks", [])
        assert isinstance(marks, list)
        operands, off = operation.operands, False
        if operation.operator == b"BDC" and operands[:1] == [b"/OC"] and operands[-1].startswith(b"/"):
            off = self._layers.hides(frame.edits.get("/Properties", parse_name(operands[-1])))
        marks.append(off)
        self._hidden |= off

    def end_mark(self, frame: Frame, operation: Operation) -> None:
        marks = frame.memory.get("marks")
        if isinstance(marks, list) and marks:
            marks.pop()
            self.look_again(frame, operation)

    def look_again(self, frame: Frame, operation: Operation) -> None:
        """A form may have left a mark open."""
        marks = frame.memory.get("marks")
        self._hidden = bool(frame.memory.get("hidden")) or (isinstance(marks, list) and any(marks))

    # Text

    def pieces_shown(self, frame: Frame, font: Font, matrix: Matrix, pieces: list[Piece]) -> None:
        state, mode = frame.state, frame.state.text_mode
        size = abs(state.font_size) * narrowest(multiply((state.text_scale, 0, 0, 1, 0, 0), matrix)) * self.unit
        seen = mode not in (*INVISIBLE, 7)
        key = identity(state.font)
        for piece in pieces:
            box, words = piece.box, piece.read(font)
            if mode in _STROKED:
                across, up = reach_of_pen(state.line_width, state.ctm)
                box = Box(box.left - across, box.bottom - up, box.right + across, box.top + up)
            if mode >= _CLIPPING:
                met = frame.memory.get("letters")
                frame.memory["letters"] = box if not isinstance(met, Box) else around([met, box])
            self._add(
                frame,
                Kind.TEXT,
                box,
                size=size * (font.scale if font.scale is not None else 1.0),
                words=words,
                stroke=mode in _ONLY_STROKED,
                seen=seen and bool(words.strip() or not font.letters),
                matrix=matrix,
                key=key,
                in_glyph=font.kind == "Type3",
                font=font,
            )

    def end_text(self, frame: Frame, operation: Operation) -> None:
        met = frame.memory.pop("letters", None)
        if isinstance(met, Box):
            frame.state.clip = common_box(frame.state.clip, met)

    # Pictures

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        if self._skips(frame.state) or self._layers.hides(entry(picture, "/OC")):
            return
        kind = Kind.STENCIL if space is None and entry(picture, "/ImageMask") is True else Kind.PICTURE
        matrix = frame.state.ctm
        self._add(frame, kind, Box(*transform_box(UNIT, matrix)), matrix=matrix, key=identity(picture))

    # The list

    def _add(
        self,
        frame: Frame,
        kind: Kind,
        whole: Box,
        *,
        size: float = 0.0,
        words: str = "",
        stroke: bool = False,
        seen: bool = True,
        matrix: Matrix | None = None,
        key: tuple[int, int] | None = None,
        in_glyph: bool = False,
        font: Font | None = None,
        points: int = 0,
    ) -> None:
        if self._hidden:
            return
        if len(self.found.objects) >= MOST_OBJECTS:
            self.found.left_out += 1
            return
        state = frame.state
        box = _left_of(whole, state.clip)
        alpha = (state.alpha_stroke if stroke else state.alpha_fill) * state.outer_alpha
        colour = state.stroke if stroke else state.fill
        self.found.objects.append(
            Painted(
                kind,
                box,
                whole,
                size,
                words,
                None if kind in (Kind.PICTURE, Kind.GRADIENT) else colour,
                state.overprint_stroke if stroke else state.overprint_fill,
                state.overprint_mode,
                alpha,
                state.blend if state.blend not in ("Normal", "Compatible") else state.outer_blend,
                state.masked or state.outer_masked,
                seen and box is not None and alpha > 0,
                state.ctm if matrix is None else matrix,
                key,
                in_glyph,
                font,
                points,
            )
        )


def _left_of(whole: Box, clip: tuple[float, float, float, float] | None) -> Box | None:
    if clip is None:
        return whole
    left, bottom, right, top = whole
    if left >= clip[0] and bottom >= clip[1] and right <= clip[2] and top <= clip[3]:
        return whole
    left, bottom, right, top = max(left, clip[0]), max(bottom, clip[1]), min(right, clip[2]), min(top, clip[3])
    return Box(left, bottom, right, top) if left <= right and bottom <= top else None


_HANDLED: dict[bytes, Callable[[InventoryWatch, Frame, Operation], None]] = {
    **dict.fromkeys((*_FILLS, *_STROKES, b"n"), InventoryWatch.paint),
    b"w": InventoryWatch.set_width,
    b"W": InventoryWatch.cut,
    b"W*": InventoryWatch.cut,
    b"sh": InventoryWatch.fill_with_gradient,
    b"BMC": InventoryWatch.mark,
    b"BDC": InventoryWatch.mark,
    b"EMC": InventoryWatch.end_mark,
    b"Do": InventoryWatch.look_again,
    b"ET": InventoryWatch.end_text,
}
