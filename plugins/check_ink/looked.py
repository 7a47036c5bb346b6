"""What was found on all pages, and which of the small things would show on this ground."""

from __future__ import annotations

from dataclasses import dataclass, field

from hotfolder.ink import PageInk
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.looking.coverage import all_inks_meet, around
from hotfolder.pdf.looking.ink_watch import REAL, InkMet, Kind, Met
from hotfolder.pdf.plates import Plates
from hotfolder.plugin import Box

_GROUND = 0.15  # tint from which an ink of the ground counts: below it a gap between inks is too pale to be seen
_MARK = 3.0  # points that registration colour may reach into the trim, as cut marks that are set badly do


@dataclass(frozen=True, slots=True)
class At:
    """One thing met, on which page."""

    page: int
    met: Met


@dataclass
class Looked:
    """Everything that all pages together give to say. `converted`: colours of screens should be inks by now."""

    converted: bool
    inks: dict[int, PageInk] = field(default_factory=dict)
    whites: list[tuple[int, Box]] = field(default_factory=list)
    registration: list[At] = field(default_factory=list)
    screen_colours: list[At] = field(default_factory=list)
    small: dict[Kind, list[At]] = field(default_factory=dict)


def judge_small(looked: Looked, plates: Plates, met: InkMet, boxes: PageBoxes) -> None:
    """Keep what lies inside the bleed and would show there."""
    for one in met.met:
        here = boxes.bleed if one.box is None else one.box.grown(0.01).common(boxes.bleed)
        if here is None:
            continue
        if one.kind is Kind.REGISTRATION:
            inside = here.common(boxes.trim.grown(-_MARK / boxes.user_unit))
            if inside is not None and all_inks_meet(plates, inside):
                looked.registration.append(At(plates.page, one))
        elif one.kind is Kind.SCREEN_COLOUR:
            if looked.converted:
                looked.screen_colours.append(At(plates.page, one))
        elif one.kind is not Kind.WHITE_OVERPRINT and _shows(plates, one, here, boxes.user_unit):
            looked.small.setdefault(one.kind, []).append(At(plates.page, one))


def _shows(plates: Plates, met: Met, here: Box, unit: float) -> bool:
    if met.kind in (Kind.BUILT_TEXT, Kind.BUILT_LINE):
        return True
    ground = around(plates, here, max(met.size / 2, 2.0) / unit)
    if met.kind is Kind.LIGHT_TEXT:
        return sum(tint >= _GROUND for tint in ground.values()) > 2
    return any(tint >= REAL for ink, tint in ground.items() if ink != "Black")
