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
from hotfolder.pdf.mappings.to_plates import PROCESS, ink_amounts
from hotfolder.pdf.plates.doubts import CensusOfConversion, Doubt, InkCensus
from hotfolder.pdf.plates.sheets import Sheets
from hotfolder.pdf.render import View, open_pages
from hotfolder.pdf.values.spaces import Floats

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


def make_plates(
    source: Path | bytes,
    page: int,
    ppi: float,
    condition: Condition,
    area: Box | None = None,
    *,
    picture_ppi: float | None = None,
) -> Plates:
    """The plates of page `page` (from 1) at so many pixels per inch of paper: its media box, or the part `area`.

    Placed pictures need not be finer than `picture_ppi`, where it is less: then large ones are read in less time.

    Colours that are no inks yet are shown as their conversion for the condition makes them. What plates can't show
    exactly stands in `doubts`. ValueError with one sentence where the page can't be read or drawn.
    """
    picture_ppi = min(ppi, picture_ppi or ppi)
    census = CensusOfConversion(condition, picture_ppi)
    try:
        with _opened(source) as pdf:
            if not 1 <= page <= len(pdf.pages):
                raise ValueError(f"there is no page {page}")
            sheets = Sheets(pdf, pdf.pages[page - 1].obj)
            left = sheets.convert(census)
            inks = (*PROCESS, *sorted(census.spots))
            if len(inks) > _MOST_INKS:
                raise ValueError(f"page {page} has {len(inks)} inks, more than can be drawn")
            wanted = inks if census.coloured or left else inks[3:]
            for start in range(0, len(wanted), 3):
                sheets.add(wanted[start : start + 3], condition, picture_ppi, spares=census.may_spare)
            copy = sheets.saved()
    except pikepdf.PdfError as fault:
        raise ValueError(f"page {page} can't be read") from fault
    coverage: dict[str, Plate] = {}
    with open_pages(copy) as pages:
        for number, drawn in enumerate(sheets.inks, 1):
            # On paper it is faster, and the same unless something is mixed with what lies below.
            view = pages.channels(number, ppi, area, count=len(set(drawn)), paper=not census.mixes)
            coverage |= zip(drawn, view.darkness, strict=False)
    doubts = {
        (one.what, one.why): Doubt(page, one.what, one.why, Box(*one.box) if one.box else None) for one in sheets.left
    }
    return Plates(
        page=page,
        ppi=view.ppi,
        area=view.area,
        rotate=view.rotate,
        inks=inks,
        coverage={ink: coverage[ink] if ink in coverage else np.zeros_like(coverage[PROCESS[3]]) for ink in inks},
        stand_ins=_stand_ins(condition, census),
        doubts=(*census.doubts(page), *doubts.values()),
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
