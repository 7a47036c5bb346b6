"""Lists everything a page paints, in order: each text, line, area and picture with its place, size and colour."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum

from pikepdf import Array, Dictionary, Object, Pdf, Stream

from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.looking.layers import PrintedLayers
from hotfolder.pdf.looking.outlines import APART, COUNTS, Outline, apart, around, reach_of_pen
from hotfolder.pdf.looking.paint_watch import narrowest
from hotfolder.pdf.looking.text import INVISIBLE, TextWatch
from hotfolder.pdf.objects import entry, identity, name
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import Operation, parse_name, parse_number
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.state import IDENTITY, UNIT, Colour, Matrix, State, common_box, multiply, transform_box
from hotfolder.pdf.walk.walker import Walker

MOST_OBJECTS = 200_000  # of a page; the rest is counted
_FILLS = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKES = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_ONLY_STROKED = (1, 5)  # text rendering modes (Table 106)
_STROKED = (1, 2, 5, 6)
_CLIPPING = 4  # this mode and those after it cut other art to the letters' shape
_FAR = 1e7


class Kind(Enum):
    """What an object is."""

    TEXT = "text"
    FILL = "area"
    STROKE = "line"
    PICTURE = "picture"
    STENCIL = "stencil"  # a picture of one bit, through which a colour is painted
    GRADIENT = "gradient"  # over all of the clipping path


@dataclass(frozen=True, slots=True)
class Painted:
    """One object. Boxes are in the page's user space, sizes in points on paper (UserUnit counted).

    Areas painted with a tiling pattern are one fill; what stands in its cell, in soft masks and in layers that don't
    print is no object. Drawn letters (Type 3) are text.
    """

    kind: Kind
    box: Box | None  # where ink can stand on the page after clipping; None: nothing left of it
    whole: Box  # the same before clipping
    size: float = 0.0  # text: of the letters after all scaling, the thinner way; stroke: width of the thinner way
    words: str = ""  # of text, as Unicode; "" where the font doesn't tell
    colour: Colour | None = None  # that paints it; None for pictures and gradients
    overprint: bool = False
    mode: int = 0  # overprint mode
    alpha: float = 1.0  # with that of the groups around it
    blend: str = "Normal"
    masked: bool = False  # by a soft mask, also one of a group around it
    seen: bool = True  # False: invisible text mode, alpha 0, clipped away entirely, nothing but spaces
    matrix: Matrix = IDENTITY  # in force (pictures: unit square to page; text: text space to page)
    key: tuple[int, int] | None = None  # the picture's object; the font's for text
    in_glyph: bool = False  # text whose letters are drawings of their own (Type 3): the colour may be another
    font: Font | None = None


@dataclass
class Inventory:
    """What one page paints, in order: the first MOST_OBJECTS objects; `left_out` counts the rest."""

    objects: list[Painted] = field(default_factory=list)
    left_out: int = 0


def take_inventory(pdf: Pdf, page: int, unit: float = 1.0) -> Inventory:
    """Everything a page (from 1) paints. `unit`: points to one unit of the page's space.

    Changes nothing, and never raises for what is in the file: what can't be followed is passed over. Steps share it by
    `job.once(("inventory", page), lambda: take_inventory(pdf, page, boxes.user_unit))`.
    """
    found = pdf.pages[page - 1].obj
    watch = _Watch(pdf, found, unit)
    Walker(pdf, watch, WalkResult()).page(found, page)
    return watch.found


class _Watch(TextWatch):
    """Changes nothing; notes each object when it is painted."""

    watched = (*TextWatch.watched, *COUNTS, *_FILLS | _STROKES, *b"n w W W* sh ET BMC BDC EMC Do".split())
    lasting = False

    def __init__(self, pdf: Pdf, page: Object, unit: float) -> None:
        super().__init__()
        self.found, self.unit = Inventory(), unit
        self._layers = PrintedLayers(pdf)
        self._nothing = Mapping()
        self._hidden = False  # what is painted now belongs to a layer that doesn't print
        self._unused = _unused_appearances(page, self._layers)
        try:
            self._paper: Box | None = read_boxes(page).media  # type: ignore[arg-type]
        except ValueError:
            self._paper = None

    # What is no object of its own

    def for_mask(self, space: Space | None) -> Mapping:
        return self._nothing

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        void = "/PatternType" in form or self._layers.hides(entry(form, "/OC")) or identity(form) in self._unused
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
        if operator in COUNTS:
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
                    self._add(frame, Kind.FILL, box)
                if strokes:
                    grown = Box(box.left - across, box.bottom - up, box.right + across, box.top + up)
                    self._add(frame, Kind.STROKE, grown, size=width, stroke=True)
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

    def string_shown(self, frame: Frame, font: Font, matrix: Matrix, box: Box, text: bytes) -> None:
        state, mode = frame.state, frame.state.text_mode
        stroked = mode in _ONLY_STROKED
        if mode in _STROKED:
            across, up = reach_of_pen(state.line_width, state.ctm)
            box = Box(box.left - across, box.bottom - up, box.right + across, box.top + up)
        if mode >= _CLIPPING:
            met = frame.memory.get("letters")
            frame.memory["letters"] = box if not isinstance(met, Box) else around([met, box])
        size = abs(state.font_size) * narrowest(multiply((state.text_scale, 0, 0, 1, 0, 0), matrix)) * self.unit
        words = font.words(text)
        drawn = font.kind == "Type3"
        self._add(
            frame,
            Kind.TEXT,
            box,
            size=size * (font.scale if font.scale is not None else 1.0),
            words=words,
            stroke=stroked,
            seen=mode not in (*INVISIBLE, 7) and bool(words.strip() or not font.letters),
            matrix=matrix,
            key=identity(state.font),
            in_glyph=drawn,
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


def _unused_appearances(page: object, layers: PrintedLayers) -> set[tuple[int, int] | None]:
    """Appearances of annotations that don't print: states that aren't on (12.5.5), and those of layers that are off."""
    unused: set[tuple[int, int] | None] = set()
    found = entry(page, "/Annots")
    for annotation in found if isinstance(found, Array) else []:
        look = entry(entry(annotation, "/AP"), "/N")
        off = layers.hides(entry(annotation, "/OC"))
        if isinstance(look, Dictionary):
            chosen = "/" + name(entry(annotation, "/AS"))
            unused |= {identity(part) for key, part in look.items() if key != chosen or off}
        elif off:
            unused.add(identity(look))
    return unused - {None}


_HANDLED: dict[bytes, Callable[[_Watch, Frame, Operation], None]] = {
    **dict.fromkeys((*_FILLS, *_STROKES, b"n"), _Watch.paint),
    b"w": _Watch.set_width,
    b"W": _Watch.cut,
    b"W*": _Watch.cut,
    b"sh": _Watch.fill_with_gradient,
    b"BMC": _Watch.mark,
    b"BDC": _Watch.mark,
    b"EMC": _Watch.end_mark,
    b"Do": _Watch.look_again,
    b"ET": _Watch.end_text,
}
