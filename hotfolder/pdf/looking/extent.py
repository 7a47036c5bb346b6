"""How much of a page its art takes up, and whether that is the ordered size on a page that is larger."""

from __future__ import annotations

from hotfolder.finding import Box
from hotfolder.pdf.boxes import USUAL_BLEEDS, PageBoxes, size_matches
from hotfolder.pdf.looking.inventory import Inventory, Painted
from hotfolder.units import MM, Size

_CLOSE = 0.5 * MM  # art with bleed around must meet the ordered size with it this closely


def art_extent(inventory: Inventory) -> Box | None:
    """The smallest box around all that leaves a trace; None where there is nothing, or too much to be listed."""
    places = [one.box for one in inventory.objects if one.seen and one.box is not None and not _is_bare(one)]
    if not places or inventory.left_out:
        return None
    lefts, bottoms, rights, tops = zip(*places, strict=True)
    return Box(min(lefts), min(bottoms), max(rights), max(tops))


def ordered_art(inventory: Inventory, boxes: PageBoxes, ordered: Size, bleed: float) -> tuple[Box, Box] | None:
    """Trim and bleed around art that has the ordered size, or that and a usual bleed, on a page without trim box that
    is larger on both sides; None else."""
    art = art_extent(inventory)
    if art is None or "TrimBox" in boxes.declared or not _smaller(art, boxes.crop):
        return None
    aim = (ordered.width, ordered.height)
    if size_matches(boxes.size(art), aim):
        return art, art
    for around in sorted({bleed, *USUAL_BLEEDS}):
        if size_matches(boxes.size(art), (aim[0] + 2 * around, aim[1] + 2 * around), _CLOSE, 0):
            return art.grown(-around / boxes.user_unit), art
    return None


def _smaller(art: Box, page: Box) -> bool:
    return art.width < page.width - MM and art.height < page.height - MM


def _is_bare(one: Painted) -> bool:
    """Whether nothing but the white of the paper is painted."""
    if one.colour is None or one.colour.pattern or not one.colour.values:
        return False
    kind, values = one.colour.space.kind, one.colour.values
    if kind in ("DeviceGray", "CalGray", "DeviceRGB", "CalRGB") or (kind == "ICCBased" and len(values) != 4):
        return all(value >= 1 for value in values)
    return kind in ("DeviceCMYK", "ICCBased", "Separation", "DeviceN") and all(value <= 0 for value in values)
