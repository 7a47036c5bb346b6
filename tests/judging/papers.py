"""Draws one poster with either of two PDF generators, measured in millimetres from the lower left corner of the cut.

Both are programs of other people, so what the checks read was not written by what reads it. pikepdf sets afterwards what a
generator can't (fpdf2 knows no page boxes); it draws nothing.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import fpdf
from fpdf.drawing import DeviceCMYK, DeviceRGB
from reportlab.lib.colors import CMYKColor, Color
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

import hotfolder
from hotfolder.units import MM

FONTS = Path(hotfolder.__file__).parent / "data" / "fonts"
BOLD, REGULAR = FONTS / "NotoSans-Bold.ttf", FONTS / "NotoSans-Regular.ttf"
Ink = tuple[float, ...]  # four parts are cyan, magenta, yellow, black; three are red, green, blue
BLACK: Ink = (0, 0, 0, 1)
WHITE: Ink = (0, 0, 0, 0)


class Paper:
    """A page to draw on: `wide` and `high` where it is cut. `own` is the generator itself, for what only it can do."""

    own: Any

    def __init__(self, wide: float, high: float, edge: float, bleed: float) -> None:
        self.wide, self.high, self.edge, self.bleed = wide, high, edge, bleed

    def ground(self, ink: Ink, beyond: float | None = None) -> None:
        """One colour over the whole poster, so far beyond the cut; left out: as far as the bleed."""
        by = self.bleed if beyond is None else beyond
        self.fill(-by, -by, self.wide + by, self.high + by, ink)

    def fill(self, left: float, bottom: float, right: float, top: float, ink: Ink) -> None:
        raise NotImplementedError

    def disc(self, x: float, y: float, radius: float, ink: Ink) -> None:
        raise NotImplementedError

    def shape(self, corners: list[tuple[float, float]], ink: Ink) -> None:
        raise NotImplementedError

    def line(self, x0: float, y0: float, x1: float, y1: float, points: float, ink: Ink = BLACK) -> None:
        raise NotImplementedError

    def words(self, text: str, x: float, y: float, points: float, ink: Ink = BLACK, font: Path = BOLD) -> None:
        raise NotImplementedError

    def picture(self, data: bytes, left: float, bottom: float, right: float, top: float) -> None:
        raise NotImplementedError

    @contextmanager
    def moved(self, a: float, b: float, c: float, d: float, x: float, y: float) -> Iterator[None]:
        """Draw through a matrix about the point (x, y), which stays where it is."""
        raise NotImplementedError
        yield

    @contextmanager
    def clipped(self, left: float, bottom: float, right: float, top: float) -> Iterator[None]:
        """Draw so that nothing shows outside of this."""
        raise NotImplementedError
        yield


class Reportlab(Paper):
    own: Canvas

    def __init__(self, canvas: Canvas, wide: float, high: float, edge: float, bleed: float) -> None:
        super().__init__(wide, high, edge, bleed)
        self.own = canvas

    def _ink(self, ink: Ink | Color) -> Color:
        if not isinstance(ink, tuple):
            return ink
        return CMYKColor(*ink) if len(ink) == 4 else Color(*ink)

    def fill(self, left, bottom, right, top, ink):
        self.own.setFillColor(self._ink(ink))
        self.own.rect(left * MM, bottom * MM, (right - left) * MM, (top - bottom) * MM, stroke=0, fill=1)

    def disc(self, x, y, radius, ink):
        self.own.setFillColor(self._ink(ink))
        self.own.circle(x * MM, y * MM, radius * MM, stroke=0, fill=1)

    def shape(self, corners, ink):
        self.own.setFillColor(self._ink(ink))
        path = self.own.beginPath()
        path.moveTo(corners[0][0] * MM, corners[0][1] * MM)
        for x, y in corners[1:]:
            path.lineTo(x * MM, y * MM)
        path.close()
        self.own.drawPath(path, stroke=0, fill=1)

    def line(self, x0, y0, x1, y1, points, ink=BLACK):
        self.own.setStrokeColor(self._ink(ink))
        self.own.setLineWidth(points)
        self.own.line(x0 * MM, y0 * MM, x1 * MM, y1 * MM)

    def words(self, text, x, y, points, ink=BLACK, font=BOLD):
        name = font.stem
        if font.suffix and name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(font)))
        self.own.setFillColor(self._ink(ink))
        self.own.setFont(name, points)
        self.own.drawString(x * MM, y * MM, text)

    def picture(self, data, left, bottom, right, top):
        self.own.drawImage(
            ImageReader(io.BytesIO(data)), left * MM, bottom * MM, (right - left) * MM, (top - bottom) * MM
        )

    @contextmanager
    def moved(self, a, b, c, d, x, y):
        self.own.saveState()
        self.own.translate(x * MM, y * MM)
        self.own.transform(a, b, c, d, 0, 0)
        self.own.translate(-x * MM, -y * MM)
        yield
        self.own.restoreState()

    @contextmanager
    def clipped(self, left, bottom, right, top):
        self.own.saveState()
        path = self.own.beginPath()
        path.rect(left * MM, bottom * MM, (right - left) * MM, (top - bottom) * MM)
        self.own.clipPath(path, stroke=0, fill=0)
        yield
        self.own.restoreState()


class Fpdf(Paper):
    own: fpdf.FPDF

    def __init__(self, own: fpdf.FPDF, wide: float, high: float, edge: float, bleed: float) -> None:
        super().__init__(wide, high, edge, bleed)
        self.own = own

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place as fpdf2 counts: from the upper left corner of the page."""
        return self.edge + x, self.edge + self.high - y

    def _ink(self, ink: Ink) -> DeviceCMYK | DeviceRGB:
        return DeviceCMYK(*ink) if len(ink) == 4 else DeviceRGB(*ink)

    def fill(self, left, bottom, right, top, ink):
        self.own.set_fill_color(self._ink(ink))
        self.own.rect(*self.at(left, top), right - left, top - bottom, style="F")

    def disc(self, x, y, radius, ink):
        self.own.set_fill_color(self._ink(ink))
        self.own.circle(*self.at(x, y), radius, style="F")

    def shape(self, corners, ink):
        self.own.set_fill_color(self._ink(ink))
        self.own.polygon([self.at(x, y) for x, y in corners], style="F")

    def line(self, x0, y0, x1, y1, points, ink=BLACK):
        self.own.set_draw_color(self._ink(ink))
        self.own.set_line_width(points / MM)
        self.own.line(*self.at(x0, y0), *self.at(x1, y1))

    def words(self, text, x, y, points, ink=BLACK, font=BOLD):
        name = font.stem.lower()
        if font.suffix and name not in self.own.fonts:
            self.own.add_font(name, fname=font)
        self.own.set_text_color(self._ink(ink))
        self.own.set_font(name, size=points)
        self.own.text(*self.at(x, y), text)

    def picture(self, data, left, bottom, right, top):
        self.own.image(io.BytesIO(data), *self.at(left, top), right - left, top - bottom)

    @contextmanager
    def moved(self, a, b, c, d, x, y):
        across, down = self.at(x, y)
        about = fpdf.drawing.Transform.translation(-across, -down)
        turn = fpdf.drawing.Transform(a, -b, -c, d, 0, 0)  # y runs downwards here
        with self.own.transform(about @ turn @ fpdf.drawing.Transform.translation(across, down)):
            yield

    @contextmanager
    def clipped(self, left, bottom, right, top):
        with self.own.rect_clip(*self.at(left, top), right - left, top - bottom):
            yield
