"""Puts sizes into words: why a page may have the wrong size."""

from __future__ import annotations

from hotfolder.plugin import MM, Size, show_length

SAME_SHAPE = 0.005  # two sides scaled alike to half a percent
MOST_EXTRA = 60 * MM  # what bleed, slug and marks add on a side at most


def best_way(found: tuple[float, float], ordered: Size) -> Size:
    """The ordered size, turned if that is closer to what was found."""
    ways = (ordered, ordered.turned())
    return min(ways, key=lambda way: abs(found[0] / way.width - found[1] / way.height))


def explain_size(found: tuple[float, float], ordered: Size) -> str:
    """A sentence on how a wrong size may have come about, or "" where nothing speaks for one."""
    way = best_way(found, ordered)
    across, up = found[0] / way.width, found[1] / way.height
    extra = (found[0] - way.width, found[1] - way.height)
    if abs(extra[0] - extra[1]) <= MM and MM < min(extra) <= 2 * MOST_EXTRA:
        each = show_length(sum(extra) / 4)
        return f"It is about {each} larger on every side, as if bleed or marks were counted as part of the poster."
    if abs(across / up - 1) > SAME_SHAPE:
        return "Its shape is another one, too: scaling it to the ordered size would crop it or leave a gap."
    return f"It has the same shape at {_scale((across + up) / 2)}."


def _scale(factor: float) -> str:
    for small, large, words in ((1, round(1 / factor), "the scale 1:{}"), (round(factor), 1, "{} times the size")):
        if max(small, large) > 1 and abs(factor * large / max(small, 1) - 1) <= SAME_SHAPE:
            return words.format(max(small, large))
    return f"{factor * 100:.3g} % of the ordered size"
