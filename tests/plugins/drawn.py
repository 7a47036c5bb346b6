"""Draws small posters with reportlab, measured in millimetres from the lower left corner of the cut."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pikepdf
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from hotfolder.units import MM


class Poster:
    """A page of the art's own: `wide` and `high` where it is cut."""

    def __init__(self, canvas: Canvas, wide: float, high: float) -> None:
        self.canvas, self.wide, self.high = canvas, wide, high

    def fill(self, left: float, bottom: float, right: float, top: float, cmyk=(0.6, 0.2, 0.1, 0)) -> None:
        self.canvas.setFillColorCMYK(*cmyk)
        self.canvas.rect(left * MM, bottom * MM, (right - left) * MM, (top - bottom) * MM, stroke=0, fill=1)

    def ground(self, beyond: float, cmyk=(0.6, 0.2, 0.1, 0), gap: float = 0) -> None:
        """One colour over the whole poster, so far beyond the cut."""
        self.fill(-beyond + gap, -beyond + gap, self.wide + beyond - gap, self.high + beyond - gap, cmyk)

    def disc(self, x: float, y: float, radius: float, cmyk=(0, 0.8, 0.8, 0)) -> None:
        self.canvas.setFillColorCMYK(*cmyk)
        self.canvas.circle(x * MM, y * MM, radius * MM, stroke=0, fill=1)

    def shape(self, *corners: tuple[float, float], cmyk=(0, 0.8, 0.8, 0)) -> None:
        self.canvas.setFillColorCMYK(*cmyk)
        path = self.canvas.beginPath()
        path.moveTo(corners[0][0] * MM, corners[0][1] * MM)
        for x, y in corners[1:]:
            path.lineTo(x * MM, y * MM)
        path.close()
        self.canvas.drawPath(path, stroke=0, fill=1)

    def line(self, x0: float, y0: float, x1: float, y1: float, points: float = 0.25, cmyk=(0, 0, 0, 1)) -> None:
        self.canvas.setStrokeColorCMYK(*cmyk)
        self.canvas.setLineWidth(points)
        self.canvas.line(x0 * MM, y0 * MM, x1 * MM, y1 * MM)

    def outline(self, inset: float, points: float, cmyk=(0, 0, 0, 1)) -> None:
        """A line around the poster, its middle so far inside the cut."""
        self.canvas.setStrokeColorCMYK(*cmyk)
        self.canvas.setLineWidth(points)
        self.canvas.rect(
            inset * MM, inset * MM, (self.wide - 2 * inset) * MM, (self.high - 2 * inset) * MM, stroke=1, fill=0
        )

    def picture(
        self, pixels: np.ndarray, left: float, bottom: float, right: float, top: float, quality: int = 0
    ) -> None:
        data = io.BytesIO()
        Image.fromarray(pixels.astype(np.uint8)).save(data, "JPEG" if quality else "PNG", quality=quality or None)
        self.canvas.drawImage(
            ImageReader(io.BytesIO(data.getvalue())), left * MM, bottom * MM, (right - left) * MM, (top - bottom) * MM
        )

    def letters(self, text: str, x: float, y: float, points: float, cmyk=(0, 0, 0, 1)) -> None:
        self.canvas.setFillColorCMYK(*cmyk)
        self.canvas.setFont("Helvetica-Bold", points)
        self.canvas.drawString(x * MM, y * MM, text)


def draw_poster(
    path: Path,
    art: Callable[[Poster], None],
    *,
    size: tuple[float, float] = (120, 90),
    bleed: float = 3,
    room: float = 0,
    origin: float = 0,
    rotate: int = 0,
    unit: float = 1,
    boxes: bool = True,
) -> Path:
    """The art on a page with bleed and `room` for marks around it.

    `origin`: where the page's corner stands in its own coordinates; `unit`: its UserUnit, the art scaled to match.
    """
    edge = bleed + room
    wide, high = size[0] + 2 * edge, size[1] + 2 * edge
    canvas = Canvas(str(path), pagesize=(wide * MM / unit, high * MM / unit))
    canvas.translate(edge * MM / unit, edge * MM / unit)
    canvas.scale(1 / unit, 1 / unit)
    art(Poster(canvas, *size))
    canvas.save()
    _set_boxes(path, edge, bleed, size, origin * MM / unit, rotate, unit, boxes)
    return path


def _set_boxes(path, edge, bleed, size, origin, rotate, unit, boxes):
    with pikepdf.open(path, allow_overwriting_input=True) as pdf:
        (page,) = pdf.pages
        if origin:
            page.contents_add(f"1 0 0 1 {origin:.4f} {origin:.4f} cm".encode(), prepend=True)
            page.obj.MediaBox = [origin + float(side) for side in page.obj.MediaBox]
        if boxes:
            for key, beyond in (("/TrimBox", 0), ("/BleedBox", bleed)):
                low = (edge - beyond) * MM / unit + origin
                page.obj[key] = [
                    round(side, 4)
                    for side in (
                        low,
                        low,
                        low + (size[0] + 2 * beyond) * MM / unit,
                        low + (size[1] + 2 * beyond) * MM / unit,
                    )
                ]
        if rotate:
            page.obj.Rotate = rotate
        if unit != 1:
            page.obj.UserUnit = unit
        pdf.save(path)
