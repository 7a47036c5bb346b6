"""Finds the text a PDF really shows: in which fonts, on which page, and how small it comes out on paper."""

from __future__ import annotations

from dataclasses import dataclass, field

from pikepdf import Pdf

from hotfolder.finding import Box
from hotfolder.pdf.boxes import read_boxes
from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.looking.text_watch import TextWatch
from hotfolder.pdf.objects import identity
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.outcome import WalkResult
from hotfolder.pdf.walk.walker import Walker

MOST_SMALL = 5000


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
