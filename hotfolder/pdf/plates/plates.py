"""Draws the plates of a page: true separations, from an ordinary renderer that knows nothing of inks.

The page is rewritten so that each channel of the picture is one ink (`pdf/mappings/to_plates.py`), then drawn.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pikepdf
from numpy.typing import NDArray

from hotfolder.colour.condition import Condition
from hotfolder.finding import Box
from hotfolder.pdf.mappings.to_plates import PROCESS, InksDisagree, ToPlates, ink_amounts
from hotfolder.pdf.plates.doubts import CensusOfConversion, Doubt, InkCensus
from hotfolder.pdf.render import Channels, View, open_pages
from hotfolder.pdf.values.spaces import Floats
from hotfolder.pdf.walk.mapping import Mapping
from hotfolder.pdf.walk.outcome import Leftover
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
        copy, left = _rewritten(source, page, census)  # what it leaves, the drawing meets again
    except pikepdf.PdfError as fault:
        raise ValueError(f"page {page} can't be read") from fault
    drawing = _Drawing(copy or source, 1 if copy else page, ppi, picture_ppi, condition, area, census)
    inks = (*PROCESS, *sorted(census.spots))
    if len(inks) > _MOST_INKS:
        raise ValueError(f"page {page} has {len(inks)} inks, more than can be drawn")
    wanted = inks if census.coloured or left else inks[3:]
    drawn = [one for start in range(0, len(wanted), 3) for one in drawing.draw(wanted[start : start + 3])]
    first = drawn[0].view
    coverage = {ink: plate for one in drawn for ink, plate in one.coverage.items()}
    doubts = {
        (one.what, one.why): Doubt(page, one.what, one.why, Box(*one.box) if one.box else None)
        for d in drawn
        for one in d.left
    }
    return Plates(
        page=page,
        ppi=first.ppi,
        area=first.area,
        rotate=first.rotate,
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


def _rewritten(source: Path | bytes, page: int, mapping: Mapping) -> tuple[bytes | None, list[Leftover]]:
    """One page as the mapping makes it, as a file of its own; None where it stays as it is. And what could not be."""
    out = io.BytesIO()
    with _opened(source) as pdf:
        if not 1 <= page <= len(pdf.pages):
            raise ValueError(f"there is no page {page}")
        del pdf.pages[page:]
        del pdf.pages[: page - 1]
        result = walk(pdf, mapping)
        if not result.changed:
            return None, result.leftovers
        pdf.save(
            out,
            compress_streams=False,
            stream_decode_level=pikepdf.StreamDecodeLevel.none,
            object_stream_mode=pikepdf.ObjectStreamMode.disable,
        )
    return out.getvalue(), result.leftovers


class _Drawn(NamedTuple):
    """Some inks as drawn, where that is on the page, and what of it could not be drawn."""

    coverage: dict[str, Plate]
    view: Channels
    left: list[Leftover]


@dataclass(frozen=True)
class _Drawing:
    """One page, to be drawn several times."""

    source: Path | bytes
    page: int
    ppi: float
    picture_ppi: float
    condition: Condition
    area: Box | None
    census: InkCensus

    def draw(self, inks: tuple[str, ...]) -> list[_Drawn]:
        """One to three inks together; one by one if an object overprints some of them only."""
        # Two inks are drawn as three of which the last repeats.
        channels = inks if len(inks) in (1, 3) else (*inks, inks[-1])
        mapping = ToPlates(self.condition, channels, self.picture_ppi, spares=self.census.may_spare)
        try:
            copy, left = _rewritten(self.source, self.page, mapping)
        except InksDisagree:
            return [one for ink in inks for one in self.draw((ink,))]
        with open_pages(copy or self.source) as pages:
            # On paper it is faster, and the same unless something is mixed with what lies below.
            paper, count = not self.census.mixes, len(channels)
            view = pages.channels(1 if copy else self.page, self.ppi, self.area, count=count, paper=paper)
        coverage = {ink: 255 - plane for ink, plane in zip(inks, view.planes, strict=False)}
        return [_Drawn(coverage, view, left)]
