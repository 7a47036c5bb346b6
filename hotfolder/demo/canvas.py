"""Draws poster art as PDF operators: shapes, and words set in the shipped font, live or as outlines."""

from __future__ import annotations

import math
from functools import cache
from importlib.resources import as_file, files
from typing import Any

from fontTools.pens.basePen import BasePen
from fontTools.ttLib import TTFont

from hotfolder.pdf.finishing.slug import Line, show_line

#: Three numbers are RGB, four are CMYK; each from 0 to 1.
Colour = tuple[float, ...]

#: How far the handles of four Bezier curves reach to make a circle (error under 0.03 %).
_ROUND = 4 / 3 * (math.sqrt(2) - 1)


@cache
def font(weight: str) -> TTFont:
    """The shipped font, `Regular` or `Bold`."""
    with as_file(files("hotfolder") / "data" / "fonts" / f"NotoSans-{weight}.ttf") as path:
        return TTFont(path)


class Canvas:
    """A page of `width` x `height` points with the origin at the trim's lower left; art may run into the bleed."""

    def __init__(self, width: float, height: float, bleed: float) -> None:
        self.width, self.height, self.bleed = width, height, bleed
        self.live_text = ""  # what is set in a font rather than as outlines
        self._operators: list[str] = []

    @property
    def content(self) -> bytes:
        return "\n".join(self._operators).encode("ascii")

    def fill(self, colour: Colour) -> None:
        """Cover the whole sheet, bleed included."""
        edge = self.bleed
        self.box(-edge, -edge, self.width + 2 * edge, self.height + 2 * edge, colour)

    def box(self, x: float, y: float, width: float, height: float, colour: Colour) -> None:
        self._paint(colour, f"{_n(x)} {_n(y)} {_n(width)} {_n(height)} re f")

    def shape(self, corners: list[tuple[float, float]], colour: Colour) -> None:
        path = " ".join(f"{_n(x)} {_n(y)} {'l' if number else 'm'}" for number, (x, y) in enumerate(corners))
        self._paint(colour, f"{path} h f")

    def disc(self, x: float, y: float, radius: float, colour: Colour) -> None:
        self._paint(colour, f"{_circle(x, y, radius)} f")

    def ring(self, x: float, y: float, radius: float, thickness: float, colour: Colour) -> None:
        self._paint(colour, f"{_n(thickness)} w {_circle(x, y, radius)} S", stroke=True)

    def line(self, start: tuple[float, float], end: tuple[float, float], thickness: float, colour: Colour) -> None:
        path = f"{_n(start[0])} {_n(start[1])} m {_n(end[0])} {_n(end[1])} l"
        self._paint(colour, f"{_n(thickness)} w {path} S", stroke=True)

    def wave(self, y: float, height: float, count: float, phase: float, colour: Colour) -> None:
        """Everything below a wavy line, down to the bleed's edge."""
        edge = self.bleed
        span = self.width + 2 * edge
        line = [
            (-edge + span * step / 120, y + height * math.sin(phase + step / 120 * count * 2 * math.pi))
            for step in range(121)
        ]
        self.shape([(-edge, -edge), *line, (self.width + edge, -edge)], colour)

    def words(
        self, text: str, x: float, y: float, size: float, colour: Colour, *, weight: str = "Bold", middle: bool = False
    ) -> float:
        """Set a line as outlines, from x or around it; gives its width in points."""
        glyphs, scale = font(weight).getGlyphSet(), size / font(weight)["head"].unitsPerEm
        names = [font(weight).getBestCmap()[ord(letter)] for letter in text]
        width: float = sum(glyphs[name].width for name in names) * scale
        at = x - width / 2 if middle else x
        pen = _Outline(glyphs, scale)
        for name in names:
            pen.place(at, y)
            glyphs[name].draw(pen)
            at += glyphs[name].width * scale
        self._paint(colour, " ".join(pen.path) + " f")
        return width

    def live(self, text: str, x: float, y: float, size: float, colour: Colour) -> None:
        """Set a line as text in a font, which the PDF must carry as /F1 (see `live_text`)."""
        self.live_text += text
        shown = show_line(Line(text, size, 0)).decode("ascii")
        self._paint(colour, f"BT /F1 {_n(size)} Tf {_n(x)} {_n(y)} Td {shown} ET")

    def fitted(self, text: str, x: float, y: float, width: float, colour: Colour, *, weight: str = "Bold") -> float:
        """Set a line as outlines so that it is as wide as asked; gives the size in points."""
        names = [font(weight).getBestCmap()[ord(letter)] for letter in text]
        natural: float = sum(font(weight)["hmtx"][name][0] for name in names) / font(weight)["head"].unitsPerEm
        self.words(text, x, y, width / natural, colour, weight=weight)
        return width / natural

    def _paint(self, colour: Colour, operators: str, *, stroke: bool = False) -> None:
        letter = {3: "rg", 4: "k"}[len(colour)]
        self._operators.append(f"{' '.join(map(_n, colour))} {letter.upper() if stroke else letter} {operators}")


class _Outline(BasePen):  # type: ignore[misc]  # fontTools has no types
    """Writes a glyph's outline as PDF path operators."""

    def __init__(self, glyphs: Any, scale: float) -> None:
        super().__init__(glyphs)
        self.path: list[str] = []
        self._scale, self._x, self._y = scale, 0.0, 0.0

    def place(self, x: float, y: float) -> None:
        self._x, self._y = x, y

    def _at(self, point: tuple[float, float]) -> str:
        return f"{_n(self._x + point[0] * self._scale)} {_n(self._y + point[1] * self._scale)}"

    def _moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802 - the base class names it so
        self.path.append(f"{self._at(point)} m")

    def _lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802
        self.path.append(f"{self._at(point)} l")

    def _curveToOne(self, *points: tuple[float, float]) -> None:  # noqa: N802
        self.path.append(" ".join(map(self._at, points)) + " c")

    def _closePath(self) -> None:  # noqa: N802
        self.path.append("h")


def _circle(x: float, y: float, radius: float) -> str:
    reach = radius * _ROUND
    quarters = [(1, 0, 0, 1), (0, 1, -1, 0), (-1, 0, 0, -1), (0, -1, 1, 0)]
    path = [f"{_n(x + radius)} {_n(y)} m"]
    for from_x, from_y, to_x, to_y in quarters:
        path.append(
            f"{_n(x + from_x * radius + to_x * reach)} {_n(y + from_y * radius + to_y * reach)} "
            f"{_n(x + to_x * radius + from_x * reach)} {_n(y + to_y * radius + from_y * reach)} "
            f"{_n(x + to_x * radius)} {_n(y + to_y * radius)} c"
        )
    return " ".join([*path, "h"])


def _n(number: float) -> str:
    return f"{number:.3f}".rstrip("0").rstrip(".")
