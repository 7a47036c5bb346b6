"""Puts into words where along the cut bleed is missing: which sides, from where to where, how much."""

from __future__ import annotations

from hotfolder.gathered import listed
from hotfolder.pdf.looking.edges import SIDES
from hotfolder.pdf.looking.edges_reach import Stretch
from hotfolder.plugin import MM, show_length

SAME = 0.25 * MM  # reaches that differ by no more are told as one
NO_REACH = 0.15 * MM
MOST_NAMED = 3
CORNER = {
    "top": "the left corner",
    "bottom": "the left corner",
    "left": "the upper corner",
    "right": "the upper corner",
}


def gather(found: list[Stretch]) -> list[list[Stretch]]:
    """What is told as one finding: whole sides that lack the same, else what lies along one side."""
    groups: list[list[Stretch]] = []
    for one in sorted(found, key=lambda stretch: (not stretch.whole, SIDES.index(stretch.strip.side), stretch.first)):
        for group in groups:
            other = group[0]
            alike = abs(other.reach - one.reach) <= SAME
            one_kind = one.covered is other.covered
            beside = other.strip.side == one.strip.side and not other.whole
            if one_kind and ((one.whole and other.whole and alike) or beside):
                group.append(one)
                break
        else:
            groups.append([one])
    return groups


def tell(group: list[Stretch], ordered: float, promised: bool) -> str:
    """The finding's sentences. `promised`: whether the file declares a bleed."""
    where, least = _where(group), min(one.reach for one in group)
    if group[0].covered:
        return (
            f"{where} the art stops right where the paper is cut, and another colour goes on from there. A cut that is a little "
            "off would show a thin strip of that colour."
        )
    if least <= NO_REACH:
        stops = "the art stops right where the paper is cut"
    else:
        stops = f"the art stops {show_length(least)} beyond the cut"
    start = f"{where} {stops}: {show_length(max(0.0, ordered - least))} of bleed is missing there"
    but = ", although the file promises bleed" if promised else ""
    return f"{start}{but}. A cut that is a little off would leave a white edge."


def _where(group: list[Stretch]) -> str:
    sides = [one.strip.side for one in group]
    if group[0].whole:
        return "All around {page}" if len(sides) == 4 else f"All along the {listed(sides)} of {{page}}"
    parts = [f"from {one.start / MM:.0f} to {one.end / MM:.0f} mm" for one in group[:MOST_NAMED]]
    more = [f"in {len(group) - MOST_NAMED} more places"] if len(group) > MOST_NAMED else []
    return f"At the {sides[0]} of {{page}}, {listed(parts + more)} from {CORNER[sides[0]]},"
