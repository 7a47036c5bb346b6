"""Follows what a page paints, and finds what its inks may spoil: small built text, fine lines, black that knocks out."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from copy import copy
from dataclasses import dataclass, field
from enum import Enum

import numpy as np
from pikepdf import Object, Pdf, Stream

from hotfolder.finding import Box
from hotfolder.pdf.looking.coverage import around_all
from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.looking.text_watch import TextWatch
from hotfolder.pdf.mappings.to_plates import PROCESS
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.content import Operation, parse_number
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.state import UNIT, Colour, Matrix, State, narrowest, transform_box
from hotfolder.pdf.walk.walker import Walker

REAL = 0.1  # tint from which an ink shows where it doesn't meet the others (common practice, no published source)
LIGHT = 0.2  # sum of inks up to which text counts as light
MOST_OF_A_KIND = 500  # on a page; the rest is only counted
_MOST_POINTS = 20_000  # of one path; what comes after them doesn't enlarge its box

_POINTS = frozenset((b"m", b"l", b"c", b"v", b"y", b"re"))
_FILLS = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
_STROKES = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
_FILL_MODES, _STROKE_MODES = (0, 2, 4, 6), (1, 2, 5, 6)  # ISO 32000-1 table 106


class Kind(Enum):
    """What was met; for text and lines every piece below the sizes asked for."""

    BUILT_TEXT = "text built from more than two inks"
    BUILT_LINE = "a line built from more than two inks"
    LIGHT_TEXT = "light text"  # reversed, if what lies behind it is built from several inks
    BLACK_TEXT = "black text that does not overprint"
    REGISTRATION = "registration colour"
    SCREEN_COLOUR = "a colour that is no ink"
    WHITE_OVERPRINT = "white that overprints"


@dataclass(frozen=True, slots=True)
class Met:
    """One such thing: where (None: not known), its size in points on paper, its inks, and what it says."""

    kind: Kind
    box: Box | None
    size: float = 0.0
    inks: tuple[str, ...] = ()
    words: str = ""


@dataclass(frozen=True, slots=True)
class Sizes:
    """Below which sizes, in points on paper, things are told of."""

    built_text: float
    light_text: float
    black_text: float
    built_line: float


@dataclass
class InkMet:
    """What one page holds: the first MOST_OF_A_KIND of each kind, and how many there are."""

    met: list[Met] = field(default_factory=list)
    counts: Counter[Kind] = field(default_factory=Counter)

    def add(self, met: Met) -> None:
        self.counts[met.kind] += 1
        if self.counts[met.kind] <= MOST_OF_A_KIND:
            self.met.append(met)

    def of(self, kind: Kind) -> list[Met]:
        return [met for met in self.met if met.kind is kind]


def find_inked(pdf: Pdf, page: int, sizes: Sizes, unit: float, *, rgb_groups: bool = False) -> InkMet:
    """What a page (from 1) paints that its inks may spoil. Never raises for what is in the file.

    Clipping and what is covered later are not considered; `unit`: points to one unit of the page's space.
    `rgb_groups`: colours with a profile are in order inside a group that blends in RGB with a profile.
    """
    watch = InkWatch(sizes, unit)
    watch.rgb_groups = rgb_groups
    Walker(pdf, watch, WalkResult()).page(pdf.pages[page - 1].obj, page)
    return watch.found


def tints(space: Space, values: tuple[float, ...]) -> dict[str, float] | None:
    """The inks of a colour, 0..1 by name; None where it is none that names inks."""
    while space.kind == "Indexed" and space.base is not None:
        values = tuple(space.lookup(np.array([values]))[0].tolist())
        space = space.base
    if space.inks:
        return {ink: value for ink, value in zip(space.inks, values, strict=False) if ink != "None"}
    if space.kind in ("DeviceGray", "CalGray") or (space.kind == "ICCBased" and space.n == 1):
        return {"Black": 1 - values[0]}
    if space.kind == "DeviceCMYK" or (space.kind == "ICCBased" and space.n == 4):
        return dict(zip(PROCESS, values, strict=False))
    return None


def is_lost_white(colour: Colour, overprint: bool, mode: int) -> bool:
    """Whether what is painted in this colour vanishes: it has no ink, and spares all that lies below it.

    ISO 32000-1 8.6.7: in overprint mode 1 that is so for zeros given in DeviceCMYK; in any mode for a spot ink of
    tint 0, which leaves all other inks alone.
    """
    if not overprint or colour.pattern or any(value > 0 for value in colour.values):
        return False
    space = colour.space
    if space.kind == "DeviceCMYK":
        return mode == 1
    return bool(space.inks) and "All" not in space.inks and not set(space.inks) & set(PROCESS)


def knocks_out_black(state: State, *, stroke: bool = False) -> bool:
    """Whether what is filled (or stroked) now is solid black ink, nothing else, and takes away the colour below it."""
    colour = state.stroke if stroke else state.fill
    overprint = state.overprint_stroke if stroke else state.overprint_fill
    if overprint or state.blend not in ("Normal", "Compatible") or colour.pattern:
        return False
    inks = tints(colour.space, colour.values) or {}
    return inks.get("Black", 0) >= 1 and not any(tint > 0 for ink, tint in inks.items() if ink != "Black")


class InkWatch(TextWatch):
    """Changes nothing; fills an InkMet. `unit`: points that one unit of the page's space is."""

    watched = (*TextWatch.watched, *_POINTS, *_FILLS | _STROKES, b"n", b"w")

    def __init__(self, sizes: Sizes, unit: float) -> None:
        super().__init__()
        self.sizes, self.unit = sizes, unit
        self.found = InkMet()
        self._tints: dict[object, dict[str, float] | None] = {}
        self.rgb_groups = self._in_rgb = False  # `_in_rgb`: inside such a group
        self._other: InkWatch | None = None  # who looks at groups of the other kind

    def for_mask(self, space: Space | None) -> Mapping:
        return Mapping()  # a mask's colours are no inks

    def for_group(self, form: Stream, space: Space | None) -> Mapping:
        if space is None or not self.rgb_groups:
            return self
        if self._other is None:
            self._other = copy(self)
            self._other._in_rgb, self._other._other = not self._in_rgb, self
        return self if self._in_rgb == (space.kind == "ICCBased" and space.n == 3) else self._other

    def operation(self, frame: Frame, operation: Operation) -> None:
        operator = operation.operator
        if operator in TextWatch.watched:
            super().operation(frame, operation)
        elif operator in _POINTS:
            path = frame.memory.setdefault("path", [])
            if isinstance(path, list) and len(path) < _MOST_POINTS:
                path.append(operation)
        elif operator == b"w":
            frame.state.line_width = abs(parse_number(operation.operands[-1]))
        else:
            self._paint(frame, operator, frame.memory.pop("path", None))

    # Paths

    def _paint(self, frame: Frame, operator: bytes, path: object) -> None:
        if not isinstance(path, list):
            return
        state = frame.state
        if operator in _FILLS:
            self._coloured(frame, state.fill, state.overprint_fill, lambda: _boxes(path, state.ctm))
        if operator in _STROKES:
            inks = self._coloured(frame, state.stroke, state.overprint_stroke, lambda: _boxes(path, state.ctm))
            width = state.line_width * narrowest(state.ctm) * self.unit
            if width < self.sizes.built_line and not state.in_glyph and len(built := _real(inks)) > 2:
                self.found.add(Met(Kind.BUILT_LINE, _joined(_boxes(path, state.ctm)), width, built))

    def _coloured(
        self, frame: Frame, colour: Colour, overprint: bool, boxes: Callable[[], list[Box]]
    ) -> dict[str, float]:
        """Notes what every use of a colour tells, and gives its inks; `boxes` says where, if that is asked for."""
        if colour.pattern:
            return {}
        key = colour.space.key, colour.values
        if key not in self._tints:
            self._tints[key] = tints(colour.space, colour.values)
        inks = self._tints[key]
        if inks is None:
            self._screen(colour.space, _joined(boxes()))
            return {}
        if inks.get("All", 0) > 0:
            for box in boxes():
                self.found.add(Met(Kind.REGISTRATION, box))
        if overprint and is_lost_white(colour, overprint, frame.state.overprint_mode):
            self.found.add(Met(Kind.WHITE_OVERPRINT, _joined(boxes())))
        return inks

    def _screen(self, space: Space, box: Box | None) -> None:
        if not self._in_rgb:
            self.found.add(Met(Kind.SCREEN_COLOUR, box, inks=(space.label(),)))

    # Text

    def letters_shown(self, frame: Frame, font: Font, size: float, box: Box, text: bytes) -> None:
        words = font.words(text)
        if font.letters and not words.strip():
            return
        state, mode = frame.state, frame.state.text_mode
        inks: dict[str, float] = {}
        if mode in _FILL_MODES:
            inks = self._coloured(frame, state.fill, state.overprint_fill, lambda: [box])
        if mode in _STROKE_MODES:
            inks = {**inks, **self._coloured(frame, state.stroke, state.overprint_stroke, lambda: [box])}
        if not inks or font.scale is None:
            return
        points = size * font.scale * self.unit
        if points < self.sizes.built_text and len(built := _real(inks)) > 2:
            self.found.add(Met(Kind.BUILT_TEXT, box, points, built, words))
        elif points < self.sizes.light_text and sum(inks.values()) <= LIGHT:
            self.found.add(Met(Kind.LIGHT_TEXT, box, points, words=words))
        elif points < self.sizes.black_text and mode in _FILL_MODES and knocks_out_black(state):
            self.found.add(Met(Kind.BLACK_TEXT, box, points, words=words))

    # Pictures and gradients

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        box = Box(*transform_box(UNIT, frame.state.ctm))
        if space is None:
            self._coloured(frame, frame.state.fill, frame.state.overprint_fill, lambda: [box])
        else:
            self._space(space, box)

    def gradient_painted(self, frame: Frame, space: Space) -> None:
        self._space(space, None)

    def _space(self, space: Space, box: Box | None) -> None:
        inks = tints(space, (0.0,) * space.n)
        if inks is None:
            self._screen(space, box)
        elif "All" in inks:
            self.found.add(Met(Kind.REGISTRATION, box))


def _real(inks: dict[str, float]) -> tuple[str, ...]:
    return tuple(ink for ink, tint in inks.items() if tint >= REAL)


def _boxes(path: list[Operation], ctm: Matrix) -> list[Box]:
    """The box of each part of a path: marks around a sheet are often one path, whose whole box would be the sheet."""
    boxes: list[Box] = []
    a, b, c, d, e, f = ctm
    left = bottom = math.inf
    right = top = -math.inf
    for operation in path:
        numbers = [parse_number(token) for token in operation.operands]
        if operation.operator in (b"m", b"re") and left <= right:
            boxes.append(Box(left, bottom, right, top))
            left, bottom, right, top = math.inf, math.inf, -math.inf, -math.inf
        if operation.operator == b"re":
            x, y, width, height = numbers[-4:]
            numbers = [x, y, x + width, y, x, y + height, x + width, y + height]
        for x, y in zip(numbers[::2], numbers[1::2], strict=False):
            u, v = x * a + y * c + e, x * b + y * d + f
            left, bottom, right, top = min(left, u), min(bottom, v), max(right, u), max(top, v)
    return [*boxes, Box(left, bottom, right, top)] if left <= right else boxes


def _joined(boxes: list[Box]) -> Box | None:
    return around_all(boxes) if boxes else None
