"""Finds the text a PDF really shows: in which fonts, on which page; and text that doesn't show at all."""

from __future__ import annotations

from dataclasses import dataclass, field

from pikepdf import Pdf

from hotfolder.finding import Box
from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.looking.outlines import around
from hotfolder.pdf.looking.text_watch import INVISIBLE, Piece, TextWatch
from hotfolder.pdf.objects import identity
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.state import IDENTITY, Matrix
from hotfolder.pdf.walk.walker import Walker

MOST_WORDS = 200  # letters kept of invisible text
MOST_PASSED = 100  # texts of one line whose length is worked out only if it is needed
_Passed = tuple[tuple[object, float, float, float, float, float], Matrix, list[bytes]]


@dataclass(frozen=True)
class Shown:
    """A font that shows text on a page, where first, and how it begins."""

    font: Font
    page: int
    box: Box | None
    words: str


@dataclass
class Hidden:
    """Text of one page that is invisible by its rendering mode: how many letters, how they begin, where."""

    letters: int
    words: str
    box: Box


@dataclass
class TextFound:
    """All fonts in use, each once a page; and by page the invisible text."""

    shown: list[Shown] = field(default_factory=list)
    hidden: dict[int, Hidden] = field(default_factory=dict)


def find_text(pdf: Pdf) -> TextFound:
    """Follow every page: its forms, patterns, glyphs, printing annotations. Changes nothing.

    Text that is invisible by its rendering mode needs no font. Never raises for what is in the file: what can't be
    followed is passed over.
    """
    reader = _Reader()
    walker = Walker(pdf, reader, WalkResult())
    for index, page in enumerate(pdf.pages):
        walker.page(page.obj, index + 1)
    return reader.found


class _Reader(TextWatch):
    """Looks at every piece of text when it is shown."""

    def __init__(self) -> None:
        super().__init__()
        self.found = TextFound()
        self._seen: set[object] = set()
        self._silent = False

    def show(self, frame: Frame, operands: list[bytes]) -> None:
        """Most text is in a font that was told of: where it stands matters only if other text follows it on its line."""
        state = frame.state
        at, passed = frame.memory.get("at", IDENTITY), frame.memory.get("passed")
        waiting: list[_Passed] = passed[1] if isinstance(passed, tuple) and passed[0] is at else []
        seen = state.text_mode not in INVISIBLE and self._key(frame) in self._seen
        if seen and len(waiting) < MOST_PASSED:
            setting = (state.font, state.font_size, state.text_scale, state.letter_gap, state.word_gap, state.rise)
            waiting.append((setting, state.ctm, operands))
            frame.memory["passed"] = at, waiting
            return
        frame.memory.pop("passed", None)
        if waiting:
            self._catch_up(frame, waiting)
        super().show(frame, operands)

    def _catch_up(self, frame: Frame, waiting: list[_Passed]) -> None:
        """Move on by the text that was passed over."""
        now, frame.state = frame.state, frame.state.copy()
        self._silent = True
        for setting, ctm, operands in waiting:
            state = frame.state
            state.font, state.font_size, state.text_scale, state.letter_gap, state.word_gap, state.rise = setting
            state.ctm = ctm
            super().show(frame, operands)
        self._silent, frame.state = False, now

    def _key(self, frame: Frame) -> object:
        font = self._font(frame.state.font)
        return frame.page, identity(frame.state.font) or (font.name, font.kind, font.embedded)

    def pieces_shown(self, frame: Frame, font: Font, matrix: Matrix, pieces: list[Piece]) -> None:
        if self._silent:
            return
        for piece in pieces if frame.state.text_mode in INVISIBLE else ():
            words = piece.read(font)
            if words.strip() or not font.letters:
                self._hide(frame.page, words, sum(len(font.codes(part)) for part in piece.words), piece.box)
        super().pieces_shown(frame, font, matrix, pieces)

    def _hide(self, page: int, words: str, letters: int, box: Box) -> None:
        known = self.found.hidden.setdefault(page, Hidden(0, "", box))
        known.letters += letters
        if len(known.words) < MOST_WORDS:
            known.words = f"{known.words} {words}"
        known.box = around([known.box, box])

    def letters_shown(self, frame: Frame, font: Font, size: float, box: Box, text: bytes) -> None:
        key = self._key(frame)
        if key not in self._seen:
            self._seen.add(key)
            self.found.shown.append(Shown(font, frame.page, box, font.words(text)))
