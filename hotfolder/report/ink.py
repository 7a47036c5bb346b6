"""The report's section on ink: the map of total ink, each plate small, and how much of each ink the sheet takes."""

from __future__ import annotations

from dataclasses import dataclass

from PIL import Image

from hotfolder.ink import InkUse, InkView
from hotfolder.report import words
from hotfolder.report.ink_map import ink_map, with_scale
from hotfolder.report.pictures import Pictures, Shown

_QUALITY, _MAP_QUALITY = 72, 85


@dataclass(frozen=True, slots=True)
class InkLine:
    """One ink, in words, with its plate if there is room for it."""

    name: str
    mean: str
    solid: str
    printed: str
    peak: str
    plate: Shown | None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One page's ink as the report shows it."""

    page: int
    map: Shown | None
    together: Shown | None
    inks: list[InkLine]
    area: str
    mean: str
    peak: str
    limit: str
    doubts: list[str]


def show(view: InkView, pictures: Pictures) -> Sheet:
    """A page's section; its pictures count towards what the report can take."""
    ink = view.ink
    return Sheet(
        page=ink.page,
        map=_map(view, pictures),
        together=_together(view, pictures),
        inks=[_line(use, view, pictures) for use in ink.used],
        area=_area(ink.area_cm2),
        mean=f"{ink.mean_total:.1f} %",
        peak=f"{ink.peak_total:.0f} %",
        limit=f"{view.limit:g} %",
        doubts=[words.clean(doubt) for doubt in view.doubts],
    )


def _map(view: InkView, pictures: Pictures) -> Shown | None:
    if not view.total.size:
        return None
    heading = f"Total ink: mean {view.ink.mean_total:.0f} %, peak {view.ink.peak_total:.0f} %"
    drawn = with_scale(ink_map(view.total, view.limit), view.limit, heading)
    return pictures.add(drawn, "Where on the sheet how much ink stands, all inks together", view.ink.page, _MAP_QUALITY)


def _together(view: InkView, pictures: Pictures) -> Shown | None:
    if not view.together.size:
        return None
    alt = "All inks together as they print, spot inks and overprinting included"
    return pictures.add(Image.fromarray(view.together), alt, view.ink.page, _MAP_QUALITY)


def _line(use: InkUse, view: InkView, pictures: Pictures) -> InkLine:
    plate, name = view.plates.get(use.name), words.clean(use.name)
    shown = None
    if plate is not None and plate.size:
        shown = pictures.add(Image.fromarray(255 - plate), f"The plate of {name}", view.ink.page, _QUALITY)
    share = 100 * use.printed_cm2 / view.ink.area_cm2 if view.ink.area_cm2 else 0.0
    return InkLine(
        name=name,
        mean=f"{use.mean:.1f} %",
        solid=_area(use.solid_cm2),
        printed=f"{_area(use.printed_cm2)} ({share:.0f} %)",
        peak=f"{use.peak:.0f} %",
        plate=shown,
    )


def _area(square_cm: float) -> str:
    return f"{square_cm:.0f} cm²" if square_cm >= 10 else f"{square_cm:.1f} cm²"
