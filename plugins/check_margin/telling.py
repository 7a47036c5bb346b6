"""Tells what stands too near to the cut: the worst first, like things together, and no more than a person will read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from hotfolder.pdf.looking.outlines import around
from hotfolder.plugin import Job, show_length

from .edges import Edges, Thing
from .words import AWAY, MOVE, measured, named, on_pages, says_cut, says_near

How = Literal["hold", "note", "ignore"]


@dataclass(frozen=True)
class Place:
    """One thing on one page."""

    page: int
    edges: Edges
    thing: Thing


Judged = tuple[How, str, Place]


def tell(
    job: Job, places: Iterable[Place], level: Callable[[Thing, Edges], tuple[How, str]], most: int, count: int
) -> bool:
    """Report everything; whether anything holds. Lines and shapes of all pages are told as one."""
    judged: list[Judged] = [(*level(place.thing, place.edges), place) for place in places]
    single = [each for each in judged if each[0] != "ignore" and each[2].thing.kind != "art"]
    single.sort(key=lambda each: (each[0], each[2].page, each[2].thing.nearest))
    for how, code, place in single[:most]:
        _tell_one(job, how, code, place, count)
    _tell_rest(job, single[most:])
    for how in ("hold", "note"):
        art = [place for found, _, place in judged if found == how and place.thing.kind == "art"]
        if art:
            _tell_art(job, how, art, count)
    return any(how == "hold" for how, _, _ in judged)


def _tell_one(job: Job, how: str, code: str, place: Place, count: int) -> None:
    thing, edges = place.thing, place.edges
    if code in ("text_cut_off", "text_runs_off"):
        says = says_cut(thing, edges.unit, huge=code == "text_runs_off")
    else:
        says = says_near(thing, edges.unit, edges.margin)
    (job.hold if how == "hold" else job.note)(
        code,
        _on_page(place, count) + says,
        measured=measured(thing),
        required=_wanted(edges),
        page=place.page,
        box=thing.box,
        mend=MOVE if how == "hold" else AWAY,
    )


def _tell_rest(job: Job, rest: Sequence[Judged]) -> None:
    for how in ("hold", "note"):
        places = [place for found, _, place in rest if found == how]
        if places:
            first = places[0]
            more = f"{len(places)} more place{'s' if len(places) > 1 else ''}"
            (job.hold if how == "hold" else job.note)(
                "more_in_margin",
                f"{more} of this kind, such as {named(first.thing, first.edges.unit)} on page {first.page}.",
                measured=more,
                required=_wanted(first.edges),
                page=first.page,
                box=first.thing.box,
            )


def _tell_art(job: Job, how: str, places: Sequence[Place], count: int) -> None:
    nearest = min(places, key=lambda place: place.thing.nearest)
    pages = sorted({place.page for place in places})
    several = len(places) > 1
    what = f"{len(places)} parts of the art (lines, shapes, larger pictures) end" if several else ""
    what = what or "A part of the art (a line, a shape, a larger picture) ends"
    where = f"{on_pages(pages).capitalize()}: " if count > 1 else ""
    nearby = f"{', the nearest' if several else ''} {measured(nearest.thing)} trim"
    nearby += f" on page {nearest.page}" if len(pages) > 1 else ""
    (job.hold if how == "hold" else job.note)(
        "art_in_margin",
        f"{where}{what} inside the safe margin{nearby}. Where the cut is a little off, it shows.",
        measured=measured(nearest.thing),
        required=_wanted(nearest.edges),
        page=nearest.page,
        box=around([place.thing.box for place in places if place.page == nearest.page]),
        mend=AWAY,
    )


def _on_page(place: Place, count: int) -> str:
    return f"Page {place.page}: " if count > 1 else ""


def _wanted(edges: Edges) -> str:
    return f"{show_length(edges.margin)} inside the trim"
