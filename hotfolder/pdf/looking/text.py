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
from hotfolder.pdf.walk.state import Matrix
from hotfolder.pdf.walk.walker import Walker

MOST_WORDS = 200  # letters kept of invisible text


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

    def pieces_shown(self, frame: Frame, font: Font, matrix: Matrix, pieces: list[Piece]) -> None:
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
        key = (frame.page, identity(frame.state.font) or (font.name, font.kind, font.embedded))
        if key not in self._seen:
            self._seen.add(key)
            self.found.shown.append(Shown(font, frame.page, box, font.words(text)))
