"""Follows the text of a page: where each piece stands, in which font, and how large."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from pikepdf import Array, Object, PdfError, String

from hotfolder.finding import Box
from hotfolder.pdf.looking.fonts import Font, read_font
from hotfolder.pdf.looking.outlines import around
from hotfolder.pdf.objects import identity, number
from hotfolder.pdf.walk.content import Operation, parse_number
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.state import IDENTITY, Matrix, State, multiply, transform_box

INVISIBLE = (3,)  # text rendering mode that leaves no trace (ISO 32000-1 Table 106); 7 cuts other art to its shape
_MOST_FONTS = 1000  # remembered as read
_SPACE = 180.0  # thousandths of the size: a move this wide between letters is a space between words
# Written without anything that must be read first: escapes, brackets in brackets, ends of lines (7.3.4.2).
_PLAIN_TEXT = re.compile(rb"\([^()\\\r]*+\)")
_PLAIN_LIST = re.compile(rb"\[(?:[\t\n\f ]*+(?:\([^()\\\r]*+\)|[-+]?(?:\d{1,9}+(?:\.\d*+)?+|\.\d++)))*+[\t\n\f ]*+\]")
_PLAIN_ITEM = re.compile(rb"\(([^()]*+)\)|([-+.\d]++)")
_FAR = 2000.0  # a move this wide leads to another piece of text


@dataclass(frozen=True, slots=True)
class Piece:
    """Text with its box on the page, blanks around it not counted. `words`: its bytes, where the file itself moves on
    by a space cut into words."""

    words: list[bytes]
    box: Box

    def read(self, font: Font) -> str:
        """The text for people."""
        return " ".join(map(font.words, self.words))


class TextWatch(Mapping):
    """Changes nothing; keeps the text matrices (9.4.2) and calls `letters_shown`, which a reader overrides."""

    watched: tuple[bytes, ...] = tuple(b"BT Tm Td TD T* TL Tz Tr Tc Tw Ts Tj TJ ' \"".split())
    every_use = passes_copies = True

    def __init__(self) -> None:
        self._fonts: dict[object, tuple[Font, object]] = {}

    def letters_shown(self, frame: Frame, font: Font, size: float, box: Box, text: bytes) -> None:
        """Visible text is shown at this size and place, in units of the page's space."""

    def pieces_shown(self, frame: Frame, font: Font, matrix: Matrix, pieces: list[Piece]) -> None:
        """An operator shows text, visible or not, in pieces that stand far apart. `matrix`: text space to the page's."""
        if frame.state.text_mode not in INVISIBLE:
            size = abs(frame.state.font_size) * math.hypot(matrix[2], matrix[3])
            text = b"".join(b"".join(piece.words) for piece in pieces)
            self.letters_shown(frame, font, size, around([piece.box for piece in pieces]), text)

    def operation(self, frame: Frame, operation: Operation) -> None:
        _HANDLED[operation.operator](self, frame, operation.operands)

    # ---- where text begins

    def begin(self, frame: Frame, operands: list[bytes]) -> None:
        frame.memory["line"] = frame.memory["at"] = (*IDENTITY,)
        frame.memory.pop("passed", None)

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
        state, at = frame.state, frame.memory.get("at", IDENTITY)
        font, size, scale = self._font(state.font), state.font_size, state.text_scale
        matrix = multiply(at, state.ctm)  # type: ignore[arg-type]
        parts, moved = _parts(operands[-1])
        if font.vertical:
            self._show_downwards(frame, font, matrix, parts, moved)
            return
        across, pieces = 0.0, list[Piece]()
        for part in parts:
            begin = across - part.before / 1000 * size * scale
            codes = font.codes(part.text)
            gaps = state.letter_gap * len(codes) + (0.0 if font.two_bytes else state.word_gap * part.text.count(b" "))
            across = begin + ((font.width(part.text) - part.kerned / 1000) * size + gaps) * scale
            low, high = (reach * size + state.rise for reach in font.reach(part.text))
            blank_before, blank_after = _blanks(font, codes, state)
            left, right = begin + blank_before * scale, across - (blank_after + state.letter_gap) * scale
            box = Box(*transform_box((left, low, max(left, right) if across >= begin else right, high), matrix))
            pieces.append(Piece(part.words, box))
        across -= moved / 1000 * size * scale
        frame.memory["at"] = multiply((1, 0, 0, 1, across, 0), at)  # type: ignore[arg-type]
        if pieces:
            self.pieces_shown(frame, font, matrix, pieces)

    def _show_downwards(self, frame: Frame, font: Font, matrix: Matrix, parts: list[_Part], moved: float) -> None:
        """Letters one below the other, a size high and wide, their middle on the line (9.7.4.3: DW2 is [880 -1000])."""
        state, size, half = frame.state, frame.state.font_size, frame.state.font_size * frame.state.text_scale / 2
        up, pieces = 0.0, list[Piece]()
        for part in parts:
            begin = up - part.before / 1000 * size
            count = len(font.codes(part.text))
            up = begin - (count + part.kerned / 1000) * size + count * state.letter_gap
            pieces.append(Piece(part.words, Box(*transform_box((-half, up, half, begin), matrix))))
        at: Matrix = frame.memory.get("at", IDENTITY)  # type: ignore[assignment]
        frame.memory["at"] = multiply((1, 0, 0, 1, 0, up - moved / 1000 * size), at)
        if pieces:
            self.pieces_shown(frame, font, matrix, pieces)

    def _font(self, found: object) -> Font:
        key = identity(found) or id(found)  # what is kept here keeps its id
        if key not in self._fonts:
            if len(self._fonts) >= _MOST_FONTS:
                self._fonts.clear()
            self._fonts[key] = read_font(found), found
        return self._fonts[key][0]


def _move(frame: Frame, across: float, up: float) -> None:
    line: Matrix = frame.memory.get("line", IDENTITY)  # type: ignore[assignment]
    frame.memory["line"] = frame.memory["at"] = multiply((1, 0, 0, 1, across, up), line)


def _blanks(font: Font, codes: list[int], state: State) -> tuple[float, float]:
    """How much of a text's length are blanks at its begin and its end."""
    letters = font.letters
    if not codes or not (letters.get(codes[0], "x").isspace() or letters.get(codes[-1], "x").isspace()):
        return 0.0, 0.0
    lengths = [0.0, 0.0]
    for side, ordered in enumerate((codes, codes[::-1])):
        for code in ordered:
            if not font.letters.get(code, "x").isspace():
                break
            word_gap = state.word_gap if code == 32 and not font.two_bytes else 0.0
            lengths[side] += font.width_of(code) * state.font_size + state.letter_gap + word_gap
    return lengths[0], lengths[1]


@dataclass
class _Part:
    """Text of a TJ array up to the next wide gap; `before`, `kerned`: thousandths of the size to move back before it,
    and inside it."""

    before: float
    words: list[bytes]
    kerned: float = 0.0

    @property
    def text(self) -> bytes:
        return self.words[0] if len(self.words) == 1 else b"".join(self.words)


def _parts(token: bytes) -> tuple[list[_Part], float]:
    """A text operand, or all texts of an array, and how far back the array moves at its end."""
    if _PLAIN_TEXT.fullmatch(token):
        return [_Part(0.0, [token[1:-1]])] if len(token) > 2 else [], 0.0
    parts, moved = list[_Part](), 0.0
    for text in _items(token):
        if isinstance(text, bytes):
            if not text:
                continue
            if not parts or abs(moved) >= _FAR:
                parts.append(_Part(moved, [text]))
            else:
                part = parts[-1]
                part.kerned += moved
                if moved <= -_SPACE:
                    part.words.append(text)
                else:
                    part.words[-1] += text
            moved = 0.0
        else:
            moved += text
    return parts, moved


def _items(token: bytes) -> list[bytes | float]:
    """The texts and moves of a text operand."""
    if _PLAIN_LIST.fullmatch(token):
        return [float(move) if move else text for text, move in _PLAIN_ITEM.findall(token)]
    try:
        found: object = Object.parse(token)
    except PdfError:
        return []
    items = found if isinstance(found, Array) else [found]
    return [
        bytes(item) if isinstance(item, String) else number(item, 0.0)
        for item in items
        if isinstance(item, String) or not isinstance(item, (Object, bool))
    ]


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
    b"Tj": lambda watch, frame, operands: watch.show(frame, operands),
    b"TJ": lambda watch, frame, operands: watch.show(frame, operands),
    b"'": TextWatch.next_and_show,
    b'"': TextWatch.space_and_show,
}
