"""Puts sizes into words: why a page may have the wrong size."""

from __future__ import annotations

from hotfolder.paper import ISO_216_MM
from hotfolder.pdf.mending.fitting import SAME_SHAPE, covering, same_shape
from hotfolder.plugin import MM, Size, show_length, show_size

MOST_EXTRA = 60 * MM  # what bleed, slug and marks add on a side at most
_PARTS = {2: "half", 3: "a third", 4: "a quarter", 5: "a fifth", 8: "an eighth", 10: "a tenth"}
_TIMES = {2: "twice", 3: "three times", 4: "four times", 5: "five times", 10: "ten times"}


def best_way(found: tuple[float, float], ordered: Size) -> Size:
    """The ordered size, turned if that is closer to what was found."""
    ways = (ordered, ordered.turned())
    return min(ways, key=lambda way: abs(found[0] / way.width - found[1] / way.height))


def scale_to(found: tuple[float, float], ordered: Size) -> float | None:
    """By what the page would have to grow to be the ordered one; None where its shape is another one, or bleed seems to
    be counted in."""
    way = best_way(found, ordered)
    aim = (way.width, way.height)
    return covering(found, aim) if same_shape(found, aim) and _counted(found, way) is None else None


def explain_size(found: tuple[float, float], ordered: Size, least_ppi: float) -> str:
    """A sentence or two on how a wrong size may have come about, and what would come of scaling the page."""
    way = best_way(found, ordered)
    each = _counted(found, way)
    if each is not None:
        return f"It is about {show_length(each)} larger on every side, as if bleed or marks were counted as part of the poster."
    factor = scale_to(found, ordered)
    if factor is None:
        return _another_shape(found, way)
    return f"{_scale(factor, found, ordered)} {_what_follows(factor, least_ppi)}"


def mend_size(found: tuple[float, float], ordered: Size) -> str:
    aim = show_size(ordered.width, ordered.height)
    mend = f"Set the page to {aim} in the layout (bleed comes on top of that, outside) and export again at full size"
    if scale_to(found, ordered) is None:
        return f"{mend}."
    return f"{mend}, or agree with the print shop that this file is scaled."


def _counted(found: tuple[float, float], way: Size) -> float | None:
    """By how much it is larger on every side, if that is alike and as much as bleed and marks come to."""
    extra = (found[0] - way.width, found[1] - way.height)
    alike = abs(extra[0] - extra[1]) <= MM and MM < min(extra) <= 2 * MOST_EXTRA
    times = min(found[0] / way.width, found[1] / way.height)
    scaled = round(times) > 1 and abs(times / round(times) - 1) <= SAME_SHAPE  # a square of twice the size
    return sum(extra) / 4 if alike and not scaled else None


def _another_shape(found: tuple[float, float], way: Size) -> str:
    """What would be cut off, or left white, on each of two sides."""
    across, up = way.width / found[0], way.height / found[1]
    wide, high = ("left and at the right", "top and at the bottom")[:: 1 if up > across else -1]
    cut = max(found[0] * up - way.width, found[1] * across - way.height) / 2
    white = max(way.height - found[1] * across, way.width - found[0] * up) / 2
    return (
        f"Its shape is another one. Scaled to fill the ordered size, {show_length(cut)} would be cut off at the {wide}; "
        f"scaled to be kept whole, {show_length(white)} would stay white at the {high}."
    )


def _scale(factor: float, found: tuple[float, float], ordered: Size) -> str:
    whole, part = round(factor), round(1 / factor)
    if whole > 1 and abs(factor / whole - 1) <= SAME_SHAPE:
        return f"This is the poster at {_PARTS.get(whole, f'1/{whole}')} {'' if whole == 2 else 'of its '}size (1:{whole})."
    if part > 1 and abs(factor * part - 1) <= SAME_SHAPE:
        return f"This is the poster at {_TIMES.get(part, f'{part} times')} its size ({part}:1)."
    name = _name(*found)
    also = (
        f" ({name} for {_name(ordered.width, ordered.height)})" if name and _name(ordered.width, ordered.height) else ""
    )
    return f"This is the poster in the same shape at {100 / factor:.3g} % of the ordered size{also}."


def _what_follows(factor: float, least_ppi: float) -> str:
    if factor > 1:
        return (
            f"Enlarged {factor:.3g} times, its pictures come out that much coarser (for {least_ppi:g} ppi in print they "
            f"need {least_ppi * factor:.0f} ppi here) and its type that much larger."
        )
    return (
        f"Reduced to {factor * 100:.3g} %, its type and its lines come out that much smaller (8 pt here is "
        f"{8 * factor:.2g} pt in print)."
    )


def _name(width: float, height: float) -> str:
    """The name of an ISO 216 size, to the millimetre; "" for any other."""
    sides = sorted((width / MM, height / MM))
    for name, size in ISO_216_MM.items():
        if all(abs(side - aim) <= 1 for side, aim in zip(sides, size, strict=True)):
            return name
    return ""
