"""How much of each ink a page takes: figures that the record keeps and the report, the log and the commands show."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from hotfolder.names import printable


@dataclass(frozen=True, slots=True)
class InkUse:
    """One ink on one page: mean and highest tint in percent; where it prints, and what that comes to as solid ink,
    in square centimetres of paper."""

    name: str
    mean: float
    peak: float
    printed_cm2: float
    solid_cm2: float


@dataclass(frozen=True, slots=True)
class PageInk:
    """All inks of a page (from 1), and their sum: mean and peak in percent of one full ink, over so large an area."""

    page: int
    area_cm2: float
    inks: tuple[InkUse, ...]
    mean_total: float
    peak_total: float

    @property
    def used(self) -> tuple[InkUse, ...]:
        """The inks that print anything."""
        return tuple(ink for ink in self.inks if ink.printed_cm2 > 0)

    def readable(self) -> PageInk:
        """The same with names that every log can take: a file may call its inks by bytes that are no text."""
        return replace(self, inks=tuple(replace(ink, name=printable(ink.name)) for ink in self.inks))


@dataclass(frozen=True, slots=True)
class InkView:
    """What the report shows of a page's ink. Small pictures: by ink, 0 no ink to 255 full ink; the sum of all inks, in
    1/255 of one full ink; and what they look like together, in sRGB. `limit` is the printing condition's, in percent."""

    ink: PageInk
    limit: float
    plates: dict[str, NDArray[np.uint8]] = field(repr=False)
    total: NDArray[np.uint16] = field(repr=False)
    together: NDArray[np.uint8] = field(repr=False)
    doubts: tuple[str, ...] = ()
