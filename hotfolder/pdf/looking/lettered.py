"""Finds pictures that are letters: glyphs of Type 3 fonts may be pictures, as large as the text they are shown in."""

from __future__ import annotations

from collections.abc import Callable

from pikepdf import Object

from hotfolder.pdf.looking.fonts import Font
from hotfolder.pdf.looking.text_watch import Piece, TextWatch
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.frame import Frame
from hotfolder.pdf.walk.painted import glyphs
from hotfolder.pdf.walk.state import Matrix, State, multiply


class LetteredPictures(TextWatch):
    """Calls `placed` for each picture of a font's letters, once for each size and direction in which text is shown in it.

    Stencils are left out: letters of one bit are a matter of the font, which is told of as such. All letters of a font
    count, also those that are not shown. Changes nothing.
    """

    shapes = True  # letters are followed when they are shown, not when their font is chosen

    def __init__(self, placed: Callable[[Frame, Object, Space | None, str], None]) -> None:
        super().__init__()
        self._placed = placed

    def depends(self, state: State) -> object:
        return tuple(round(number, 4) for number in state.ctm[:4])

    def pieces_shown(self, frame: Frame, font: Font, matrix: Matrix, pieces: list[Piece]) -> None:
        if font.kind != "Type3" or frame.state.in_glyph:
            return
        state, inner = frame.state, frame.state.copy()
        size: Matrix = (state.font_size * state.text_scale, 0.0, 0.0, state.font_size, 0.0, state.rise)
        inner.ctm = multiply(size, matrix)
        glyphs(frame.walker, state.font, frame.resources, inner, frame.depth)

    def picture_placed(self, frame: Frame, picture: Object, space: Space | None, name: str) -> None:
        if frame.state.in_glyph and space is not None:
            self._placed(frame, picture, space, name)
