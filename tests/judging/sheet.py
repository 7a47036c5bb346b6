"""One poster as a file: its art on a page of the right size, with boxes, by either of the two generators."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import fpdf
import pikepdf
from papers import Fpdf, Reportlab
from PIL import Image
from reportlab.pdfgen.canvas import Canvas

from hotfolder.units import MM

#: The same drawing is the same file every time.
DRAWN = dt.datetime(2026, 5, 3, tzinfo=dt.UTC)


@dataclass(frozen=True)
class Sheet:
    """What one poster is: its art, and the page it stands on.

    `size`, `bleed` and `room` (for marks, beyond the bleed) in millimetres; `touch` sets in the finished file what a
    generator can't.
    """

    art: Callable[[Any], None]
    by: Literal["reportlab", "fpdf2"] = "reportlab"
    size: tuple[float, float] = (203.2, 254)
    bleed: float = 3.175
    room: float = 0
    boxes: bool = True
    pages: int = 1
    touch: Callable[[pikepdf.Pdf], None] | None = None
    canvas: dict[str, Any] = field(default_factory=dict)  # what else reportlab is told

    def draw(self, path: Path) -> Path:
        if self.by == "reportlab":
            self._reportlab(path)
        else:
            self._fpdf2(path)
        if self.touch is not None:
            with pikepdf.open(path, allow_overwriting_input=True) as pdf:
                self.touch(pdf)
                pdf.save(path, deterministic_id=True)
        return path

    def _box(self, beyond: float) -> list[float]:
        low, (wide, high) = self.bleed + self.room - beyond, self.size
        return [round(side * MM, 3) for side in (low, low, low + wide + 2 * beyond, low + high + 2 * beyond)]

    def _reportlab(self, path: Path) -> None:
        edge = self.bleed + self.room
        wide, high = (round((side + 2 * edge) * MM, 3) for side in self.size)
        canvas = Canvas(str(path), pagesize=(wide, high), invariant=1, **self.canvas)
        if self.boxes:
            canvas.setTrimBox(self._box(0))
            canvas.setBleedBox(self._box(self.bleed))
        for _ in range(self.pages):
            canvas.translate(edge * MM, edge * MM)
            self.art(Reportlab(canvas, *self.size, edge, self.bleed))
            canvas.showPage()
        canvas.save()

    def _fpdf2(self, path: Path) -> None:
        edge = self.bleed + self.room
        own = fpdf.FPDF(unit="mm", format=(self.size[0] + 2 * edge, self.size[1] + 2 * edge))
        own.set_auto_page_break(False)
        own.set_creation_date(DRAWN)
        for _ in range(self.pages):
            own.add_page()
            self.art(Fpdf(own, *self.size, edge, self.bleed))
        own.output(str(path))
        if self.boxes:
            with pikepdf.open(path, allow_overwriting_input=True) as pdf:
                for page in pdf.pages:
                    page.obj.TrimBox, page.obj.BleedBox = self._box(0), self._box(self.bleed)
                pdf.save(path, deterministic_id=True)


def packed(picture: Image.Image, kind: str = "JPEG", **how: Any) -> bytes:
    """A picture as the bytes of a file."""
    data = io.BytesIO()
    picture.save(data, kind, **how)
    return data.getvalue()
