"""Finds the text a PDF really shows: in which fonts, on which page, and how small it comes out on paper."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from pikepdf import Array, Object, Pdf, PdfError, String

from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.fonts import Font, read_font
from hotfolder.pdf.objects import identity, number
from hotfolder.pdf.walk.content import Operation, parse_number
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.state import IDENTITY, Matrix, State, multiply, transform_box
from hotfolder.pdf.walk.walker import Walker

INVISIBLE = (3,)  # text rendering mode that leaves no trace (ISO 32000-1 Table 106); 7 cuts other art to its shape
MOST_SMALL = 5000
_MOST_FONTS = 1000  # remembered as read


@dataclass(frozen=True)
class Shown:
    """A font that shows text on a page, where first, and how it begins."""

    font: Font
    page: int
    box: Box | None
    words: str


@dataclass(frozen=True)
class SmallText:
    """A piece of text below the asked size; `size` in points on paper."""

    page: int
    size: float
    box: Box
    words: str


@dataclass
class TextFound:
    """All fonts in use, each once a page, and all small text."""

    shown: list[Shown] = field(default_factory=list)
    small: list[SmallText] = field(default_factory=list)


def find_text(pdf: Pdf, least: float = 0.0) -> TextFound:
    """Follow every page: its forms, patterns, glyphs, printing annotations. Changes nothing.

    Text that comes out smaller than `least` points goes into `small`. Text that is invisible by its rendering mode does
    not count. Never raises for what is in the file: what can't be followed is passed over.
    """
    reader = _Reader(least)
    walker = Walker(pdf, reader, WalkResult())
    for index, page in enumerate(pdf.pages):
        try:
            reader.unit = read_boxes(page).user_unit
        except ValueError:
            reader.unit = 1.0
        walker.page(page.obj, index + 1)
    return reader.found


class TextWatch(Mapping):
    """Changes nothing; keeps the text matrices (9.4.2) and calls `letters_shown`, which a reader overrides."""

    watched: tuple[bytes, ...] = tuple(b"BT Tm Td TD T* TL Tz Tr Tc Tw Ts Tj TJ ' \"".split())
    every_use = True

    def __init__(self) -> None:
        self._fonts: dict[object, tuple[Font, object]] = {}

    def letters_shown(self, frame: Frame, font: Font, size: float, box: Box, text: bytes) -> None:
        """Visible text is shown at this size and place, in units of the page's space."""

    def string_shown(self, frame: Frame, font: Font, matrix: Matrix, box: Box, text: bytes) -> None:
        """Text is shown, visible or not. `matrix`: text space to the page's space; `box`: on the page."""
        if frame.state.text_mode not in INVISIBLE:
            size = abs(frame.state.font_size) * math.hypot(matrix[2], matrix[3])
            self.letters_shown(frame, font, size, box, text)

    def operation(self, frame: Frame, operation: Operation) -> None:
        _HANDLED[operation.operator](self, frame, operation.operands)

    # ---- where text begins

    def begin(self, frame: Frame, operands: list[bytes]) -> None:
        frame.memory["line"] = frame.memory["at"] = IDENTITY

    def place(self, frame: Frame, operands: list[bytes]) -> None:
        a, b, c, d, e, f = (parse_number(token) for token in operands[-6:])
        frame.memory["line"] = frame.memory["at"] = (a, b, c, d, e, f)

    def move(self, frame: Frame, operands: list[bytes]) -> None:
        _move(frame, parse_number(operands[-2]), parse_number(operands[-1]))

    def move_and_lead(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.leading = -parse_number(operands[-1])
        self.move(frame, operands)

    def lead(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.leading = parse_number(operands[-1])

    def next_line(self, frame: Frame, operands: list[bytes]) -> None:
        _move(frame, 0.0, -frame.state.leading)

    def condense(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.text_scale = parse_number(operands[-1]) / 100

    def render(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.text_mode = int(parse_number(operands[-1]))

    def space_letters(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.letter_gap = parse_number(operands[-1])

    def space_words(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.word_gap = parse_number(operands[-1])

    def raise_text(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.rise = parse_number(operands[-1])

    # ---- text shown

    def next_and_show(self, frame: Frame, operands: list[bytes]) -> None:
        self.next_line(frame, operands)
        self.show(frame, operands)

    def space_and_show(self, frame: Frame, operands: list[bytes]) -> None:
        frame.state.word_gap, frame.state.letter_gap = parse_number(operands[-3]), parse_number(operands[-2])
        self.next_and_show(frame, operands)

    def show(self, frame: Frame, operands: list[bytes]) -> None:
        text, before, kerned = _text(operands[-1])
        state, at = frame.state, frame.memory.get("at", IDENTITY)
        font, size = self._font(state.font), state.font_size
        codes = font.codes(text)
        gaps = state.letter_gap * len(codes) + (0.0 if font.two_bytes else state.word_gap * text.count(b" "))
        across = ((font.width(text) - kerned / 1000) * size + gaps) * state.text_scale
        matrix = multiply(at, state.ctm)  # type: ignore[arg-type]
        frame.memory["at"] = multiply((1, 0, 0, 1, across, 0), at)  # type: ignore[arg-type]
        if text:
            low, high = (reach * size + state.rise for reach in font.reach(text))
            blank_before, blank_after = self._blanks(font, codes, state)
            begin = (blank_before - before / 1000 * size) * state.text_scale
            end = across - (blank_after + state.letter_gap) * state.text_scale
            box = Box(*transform_box((begin, low, max(begin, end) if across >= 0 else end, high), matrix))
            self.string_shown(frame, font, matrix, box, text)

    def _blanks(self, font: Font, codes: list[int], state: State) -> tuple[float, float]:
        """How much of a text's length are blanks at its begin and its end."""
        lengths = [0.0, 0.0]
        for side, ordered in enumerate((codes, codes[::-1])):
            for code in ordered:
                if not font.letters.get(code, "x").isspace():
                    break
                word_gap = state.word_gap if code == 32 and not font.two_bytes else 0.0
                lengths[side] += font.width_of(code) * state.font_size + state.letter_gap + word_gap
        return lengths[0], lengths[1]

    def _font(self, found: object) -> Font:
        key = identity(found) or id(found)  # what is kept here keeps its id
        if key not in self._fonts:
            if len(self._fonts) >= _MOST_FONTS:
                self._fonts.clear()
            self._fonts[key] = read_font(found), found
        return self._fonts[key][0]


class _Reader(TextWatch):
    """Looks at every piece of text when it is shown."""

    def __init__(self, least: float) -> None:
        super().__init__()
        self.found = TextFound()
        self.unit = 1.0
        self._least = least
        self._seen: set[object] = set()

    def letters_shown(self, frame: Frame, font: Font, size: float, box: Box, text: bytes) -> None:
        size *= self.unit
        key = (frame.page, identity(frame.state.font) or (font.name, font.kind, font.embedded))
        if key not in self._seen:
            self._seen.add(key)
            self.found.shown.append(Shown(font, frame.page, box, font.words(text)))
        if font.scale is None or size * font.scale >= self._least or len(self.found.small) >= MOST_SMALL:
            return
        words = font.words(text)
        if words.strip() or not font.letters:
            self.found.small.append(SmallText(frame.page, size * font.scale, box, words))


def _move(frame: Frame, across: float, up: float) -> None:
    line: Matrix = frame.memory.get("line", IDENTITY)  # type: ignore[assignment]
    frame.memory["line"] = frame.memory["at"] = multiply((1, 0, 0, 1, across, up), line)


def _text(token: bytes) -> tuple[bytes, float, float]:
    """The bytes of a text operand, or of all texts in an array; by how much the array moves them back before the first
    of them, and in all."""
    try:
        found: object = Object.parse(token)
    except PdfError:
        return b"", 0.0, 0.0
    if isinstance(found, String):
        return bytes(found), 0.0, 0.0
    text, before, moved = b"", 0.0, 0.0
    for item in found if isinstance(found, Array) else []:
        if isinstance(item, String):
            before = before if text else moved
            text += bytes(item)
        elif not isinstance(item, (Object, bool)):
            moved += number(item, 0.0)
    return text, before, moved


_HANDLED: dict[bytes, Callable[[TextWatch, Frame, list[bytes]], None]] = {
    b"BT": TextWatch.begin,
    b"Tm": TextWatch.place,
    b"Td": TextWatch.move,
    b"TD": TextWatch.move_and_lead,
    b"T*": TextWatch.next_line,
    b"TL": TextWatch.lead,
    b"Tz": TextWatch.condense,
    b"Tr": TextWatch.render,
    b"Tc": TextWatch.space_letters,
    b"Tw": TextWatch.space_words,
    b"Ts": TextWatch.raise_text,
    b"Tj": TextWatch.show,
    b"TJ": TextWatch.show,
    b"'": TextWatch.next_and_show,
    b'"': TextWatch.space_and_show,
}
