"""Puts into words what stands too near to the cut, and what to do about it."""

from __future__ import annotations

from collections.abc import Sequence

from hotfolder.gathered import listed
from hotfolder.plugin import Box, show_length, show_size

from .edges import TOUCHES, Thing

MOST_LETTERS = 60
MOVE = "Move it inwards or make it smaller in the layout, and export again. The cut may be a little off on any sheet."
AWAY = "If it is meant like that, it can stay. Else let it run past the trim into the bleed, or move it inwards."
_WHAT = {
    "picture": "a small picture, {size},",
    "drawing": "a drawing, {size} (such as a logo, a code, letters turned into outlines),",
}


def named(thing: Thing, unit: float) -> str:
    """What stands there: its words, or what it is and how large, as in the middle of a sentence."""
    if thing.kind != "text":
        return _WHAT.get(thing.kind, "a part of the art, {size},").format(size=_size(thing.box, unit))
    words = " ".join(thing.words.split())
    if len(words) > MOST_LETTERS:
        words = words[:MOST_LETTERS].rstrip() + "…"
    return f"“{words}”" if words else f"text of {thing.size:.3g} pt"


def says_near(thing: Thing, unit: float, margin: float) -> str:
    """That something stands inside the safe margin, and on which sides."""
    many = f" and {thing.count - 1} more line{'s' if thing.count > 2 else ''} like it" if thing.count > 1 else ""
    verb = "are" if many else "is"
    places = listed([f"{show_length(max(far, 0.0))} from the {side}" for side, far in by_distance(thing)])
    return f"{_begun(named(thing, unit))}{many} {verb} {places} trim; {show_length(margin)} is wanted."


def says_cut(thing: Thing, unit: float, *, huge: bool) -> str:
    """That letters touch or cross the trim; of huge ones, that they run off."""
    cut = [(side, far) for side, far in by_distance(thing) if far <= TOUCHES]
    sides = listed([side for side, _ in cut])
    beyond = max(-far for _, far in cut)
    past = f"{show_length(beyond)} past the trim" if beyond > TOUCHES else "right up to the trim"
    if huge:
        return f"The large letters {named(thing, unit)} run off the sheet at the {sides}: they reach {past}."
    return f"{_begun(named(thing, unit))} will be cut off at the {sides}: the letters reach {past}."


def on_pages(pages: Sequence[int]) -> str:
    """The pages by number, from 1 and in order: "page 3", "pages 1 to 12", "pages 1, 2 and 5 to 7"."""
    spans = list[list[int]]()
    for page in pages:
        if spans and page == spans[-1][1] + 1:
            spans[-1][1] = page
        else:
            spans.append([page, page])
    said = list[str]()
    for first, last in spans:
        said += [f"{first} to {last}"] if last > first + 1 else [str(page) for page in range(first, last + 1)]
    return f"page{'s' if len(pages) > 1 else ''} {listed(said)}"


def by_distance(thing: Thing) -> list[tuple[str, float]]:
    return sorted(thing.near.items(), key=lambda item: item[1])


def _begun(words: str) -> str:
    """With a capital, as at the beginning of a sentence."""
    return words if words.startswith("“") else words[:1].upper() + words[1:]


def measured(thing: Thing) -> str:
    side, far = by_distance(thing)[0]
    return f"{show_length(far)} from the {side}" if far >= 0 else f"{show_length(-far)} beyond the {side}"


def _size(box: Box, unit: float) -> str:
    return show_size(box.width * unit, box.height * unit)
