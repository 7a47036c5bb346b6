"""Draws the plates of a page: true separations, from an ordinary renderer that knows nothing of inks.

The page is rewritten so that each channel of the picture is one ink (`pdf/mappings/to_plates.py`), then drawn.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pikepdf
from numpy.typing import NDArray

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box
from hotfolder.pdf.mappings.to_plates import PROCESS, InksDisagree, ToPlates, ink_amounts
from hotfolder.pdf.plates.doubts import Doubt, InkCensus, look
from hotfolder.pdf.render import View, open_pages
from hotfolder.pdf.values.spaces import Floats
from hotfolder.pdf.walk.walker import walk

Plate = NDArray[np.uint8]
_MOST_INKS = 32


@dataclass(frozen=True)
class Plates(View):
    """What each ink of one page prints.

    `coverage`: for each ink (rows, columns), 0 no ink to 255 full ink, upright as the page's /Rotate wants it.
    `inks`: the four process inks, then spot inks by name. `stand_ins`: what stands in for a spot ink on screen, the
    process inks (256, 4) in 0..1 of its tints 0 to 255. `area`: what is shown, in the page's unrotated user space.
    """

    page: int
    ppi: float
    area: Box
    rotate: int
    inks: tuple[str, ...]
    coverage: dict[str, Plate] = field(repr=False)
    stand_ins: dict[str, Floats] = field(repr=False)
    doubts: tuple[Doubt, ...]

    def total(self) -> NDArray[np.uint16]:
        """The sum of all inks at each place; 255 is one full ink."""
        found = np.zeros(next(iter(self.coverage.values())).shape, np.uint16)
        for plate in self.coverage.values():
            found += plate
        return found

    @property
    def size(self) -> tuple[int, int]:
        rows, columns = self.coverage[PROCESS[0]].shape
        return columns, rows

    def square_points(self) -> float:
        """How much paper one pixel is, in square points."""
        return (72 / self.ppi) ** 2


def make_plates(source: Path | bytes, page: int, ppi: float, condition: Condition, area: Box | None = None) -> Plates:
    """The plates of page `page` (from 1) at so many pixels per inch of paper: its media box, or the part `area`.

    Colours that are no inks yet are shown as their conversion for the condition makes them. What plates can't show
    exactly stands in `doubts`. ValueError with one sentence where the page can't be read or drawn.
    """
    with _opened(source) as pdf:
        if not 1 <= page <= len(pdf.pages):
            raise ValueError(f"there is no page {page}")
        census, doubts = look(pdf, page)
        stand_ins = _stand_ins(condition, census)
    inks = (*PROCESS, *sorted(census.spots))
    if len(inks) > _MOST_INKS:
        raise ValueError(f"page {page} has {len(inks)} inks, more than can be drawn")
    sheet = _Sheet(source, page, ppi, condition, area, census.may_spare)
    for start in range(0, len(inks), 3):
        sheet.draw(inks[start : start + 3])
    return Plates(
        page=page,
        ppi=sheet.ppi,
        area=sheet.area,
        rotate=sheet.rotate,
        inks=inks,
        coverage={ink: sheet.coverage[ink] for ink in inks},
        stand_ins=stand_ins,
        doubts=(*doubts, *sheet.doubts.values()),
    )


def _opened(source: Path | bytes) -> pikepdf.Pdf:
    try:
        return pikepdf.open(io.BytesIO(source) if isinstance(source, bytes) else source)
    except pikepdf.PasswordError as fault:
        raise ValueError("a password protects the file") from fault
    except (pikepdf.PdfError, OSError) as fault:
        raise ValueError("the file can't be opened as PDF") from fault


def _stand_ins(condition: Condition, census: InkCensus) -> dict[str, Floats]:
    found = {}
    for ink, space in census.spots.items():
        tints = np.zeros((256, space.n))
        tints[:, space.inks.index(ink)] = np.linspace(0, 1, 256)
        found[ink] = ink_amounts(condition, space, tints)
    return found


class _Sheet:
    """One page drawn several times, three inks each."""

    def __init__(
        self, source: Path | bytes, page: int, ppi: float, condition: Condition, area: Box | None, spares: bool
    ) -> None:
        self.source, self.page, self.ppi, self.condition, self.area_wanted = source, page, ppi, condition, area
        self.spares = spares
        self.coverage: dict[str, Plate] = {}
        self.doubts: dict[tuple[str, str], Doubt] = {}
        self.area, self.rotate = area or Box(0, 0, 0, 0), 0

    def draw(self, inks: tuple[str, ...]) -> None:
        """Draws one to three inks together; one by one if an object overprints some of them only."""
        # Two inks are drawn as three of which the last repeats.
        three = inks if len(inks) in (1, 3) else (*inks, inks[-1])
        try:
            copy = self._rewritten(ToPlates(self.condition, three, self.ppi, spares=self.spares))
        except InksDisagree:
            for ink in inks:
                self.draw((ink,))
            return
        with open_pages(copy) as pages:
            drawn = pages.render(1, self.ppi, self.area_wanted, paper=False)
        pixels = np.asarray(drawn.picture)
        for channel, ink in enumerate(inks):
            self.coverage[ink] = 255 - pixels[:, :, channel]
        self.area, self.rotate, self.ppi = drawn.area, drawn.rotate, drawn.ppi

    def _rewritten(self, mapping: ToPlates) -> bytes:
        out = io.BytesIO()
        with _opened(self.source) as pdf:
            while len(pdf.pages) > self.page:
                del pdf.pages[-1]
            for _ in range(self.page - 1):
                del pdf.pages[0]
            for left in walk(pdf, mapping).leftovers:
                doubt = Doubt(self.page, left.what, left.why, Box(*left.box) if left.box else None)
                self.doubts.setdefault((left.what, left.why), doubt)
            pdf.save(
                out,
                compress_streams=False,
                stream_decode_level=pikepdf.StreamDecodeLevel.none,
                object_stream_mode=pikepdf.ObjectStreamMode.disable,
            )
        return out.getvalue()
