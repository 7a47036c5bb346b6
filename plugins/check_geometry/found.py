"""The findings about sizes and boxes, each with its sentence, its measures and how to mend it."""

from __future__ import annotations

from collections.abc import Iterator

from hotfolder.gathered import Found, listed
from hotfolder.pdf.boxes import SLACK, PageBoxes
from hotfolder.pdf.looking.edges import bleed_of
from hotfolder.plugin import Box, Level, Ticket, show_length, show_size

from .words import MOST_EXTRA, best_way, explain_size, mend_size


def short_bleed(
    boxes: PageBoxes, room: dict[str, float], short: list[str], bare: frozenset[str], ordered: float, trim: Box
) -> Iterator[Found]:
    lacking, spared = ([side for side in short if (side in bare) is is_bare] for is_bare in (False, True))
    if spared:
        message = (
            f"{{page}} has less bleed than ordered {_sides(spared)}, and needs none: the paper is bare along the cut."
        )
        yield Found("bleed_not_needed", message, measured=f"bare paper {_sides(spared)}", level=Level.NOTE)
    if not lacking:
        return
    least, where = max(0.0, min(room[side] for side in lacking)), _sides(lacking)
    if least < SLACK:
        code, message = "no_bleed", f"{{page}} has no bleed {_nowhere(lacking)}: the art ends where the paper is cut."
    else:
        code, message = "little_bleed", f"{{page}} has too little bleed {where}: only {show_length(least)}."
    seen = ""
    if boxes.reduced & {"BleedBox", "CropBox"}:
        seen = (
            " The file speaks of more room than its page has, so bleed that was there may have been cut away on export."
        )
    elif "BleedBox" not in boxes.declared:
        seen = " Measured to the edge of the page; the file doesn't say how far its bleed reaches."
    yield Found(
        code,
        message + seen,
        measured=f"{show_length(least)} {where}",
        required=f"{show_length(ordered)} on every side",
        mend=f"Let backgrounds and pictures run {show_length(ordered)} past the edge {where}, and export again with "
        "that bleed.",
        box=trim,
    )


def _sides(sides: list[str]) -> str:
    return "on all four sides" if len(sides) == 4 else f"at the {listed(sides)}"


def _nowhere(sides: list[str]) -> str:
    return "on any side" if len(sides) == 4 else _sides(sides)


def page_count(count: int, ticket: Ticket) -> Iterator[Found]:
    if count != ticket.pages:
        has, ordered = (f"{number} page{'' if number == 1 else 's'}" for number in (count, ticket.pages))
        message = f"The file has {has}, but {ordered} {'was' if ticket.pages == 1 else 'were'} ordered."
        mend = "Export only the pages that belong to this order, or correct the number of pages on the ticket."
        yield Found("wrong_page_count", message, measured=has, required=ordered, mend=mend)


def wrong_size(found: tuple[float, float], ticket: Ticket, verb: str, box: Box) -> Found:
    assert ticket.trim is not None
    size, aim = show_size(*found), show_size(ticket.trim.width, ticket.trim.height)
    message = f"{{page}} {verb} {size}, but {aim} was ordered. {explain_size(found, ticket.trim, ticket.least_ppi)}"
    return Found("wrong_size", message, measured=size, required=aim, mend=mend_size(found, ticket.trim), box=box)


def no_trim_box(boxes: PageBoxes, ticket: Ticket) -> Found:
    """The page is neither the ordered size nor that with usual bleed: there may be marks around it, or it is wrong."""
    found, ordered = boxes.seen_size(boxes.crop), ticket.trim
    assert ordered is not None  # without an order the page's own edge counts
    way = best_way(found, ordered)
    if not all(0 < side - aim <= 2 * MOST_EXTRA for side, aim in zip(found, (way.width, way.height), strict=True)):
        return wrong_size(found, ticket, "is", boxes.crop)
    size, aim = show_size(*found), show_size(ordered.width, ordered.height)
    message = f"{{page}} is {size} and doesn't say where it is cut to the ordered {aim} (it has no trim box)."
    mend = "Export again with the trim box written, or without marks on a page of the ordered size and its bleed."
    return Found("no_trim_box", message, measured=size, required=aim, mend=mend, box=boxes.crop)


def not_nested(boxes: PageBoxes, trim: Box, bleed: Box) -> Found:
    beyond = {side: -length for side, length in bleed_of(boxes, trim, bleed).items() if length < 0}
    where = f"its bleed at the {listed(list(beyond))}" if beyond else "the page itself"
    message = f"{{page}} is to be cut where there is no art: its trim box reaches beyond {where}."
    mend = "Set the page and its bleed anew in the layout and export again; boxes edited by hand often end like this."
    measured = f"{show_length(max(beyond.values()))} beyond" if beyond else None
    return Found("trim_outside", message, measured, "trim inside bleed inside the page", mend, box=trim)


def hidden_art(trim: Box) -> Found:
    """Programs show the crop box; a press prints up to the trim and beyond (ISO 32000-1 14.11.2)."""
    message = "{page} shows less on the screen than will be printed: a crop hides art that lies inside the cut."
    mend = "Take the crop off the page, look at what stood behind it, and export again."
    return Found("hidden_art", message, required="the crop box outside the trim box", mend=mend, box=trim)
