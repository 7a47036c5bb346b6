"""What the art itself says about how it lies: which way its text reads, what is lost off the sheet, how large it is."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

from hotfolder.gathered import Found, listed
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.looking.edges import SIDES, bleed_of
from hotfolder.pdf.looking.inventory import Inventory, Kind, Painted
from hotfolder.plugin import MM, Box, Level, show_length, show_size

LEAST_LETTERS = 12  # fewer don't tell how a page is meant to be read
LEAST_LOST = 3  # a single letter at the edge is a figure's, cut off by its frame
_MOST = 0.95  # share of the letters that must read the same odd way
_SLANT = 10  # degrees off the upright that still count as straight
_MOST_SHOWN = 40  # characters of a text that is quoted
_WAYS = {1: "reads upwards", 2: "stands on its head", 3: "reads downwards"}


def reading(inventory: Inventory, boxes: PageBoxes, mirrored: bool) -> Iterator[Found]:
    """Whether all text is mirrored, or turned as the page is looked at. Drawn letters (Type 3) tell nothing."""
    backwards = total = 0
    ways: Counter[int] = Counter()
    for one in inventory.objects:
        if one.kind is not Kind.TEXT or not one.seen or one.in_glyph:
            continue
        letters = len(one.words.strip())
        a, b, c, d, _, _ = one.matrix
        angle = math.degrees(math.atan2(b, a)) - boxes.rotate
        total += letters
        backwards += letters if a * d - b * c < 0 else 0
        if abs((angle + 45) % 90 - 45) <= _SLANT:
            ways[round(angle / 90) % 4] += letters
    if total < LEAST_LETTERS:
        return
    if backwards >= _MOST * total:
        if not mirrored:
            message = "{page} is mirrored: all of its text reads backwards."
            yield Found(
                "mirrored", message, mend="Export again without mirroring; the print shop mirrors where needed."
            )
        return
    way = next((way for way in _WAYS if ways[way] >= _MOST * total), None)
    if way is not None:
        message = f"All text on {{page}} {_WAYS[way]} as the page is looked at. If that isn't meant, turn the page."
        yield Found("text_turned", message, level=Level.NOTE)


def lost(inventory: Inventory, boxes: PageBoxes) -> Iterator[Found]:
    """Text and pictures wholly off the sheet, and text of which half or more is: nobody will see that in print."""
    media = boxes.media
    gone = [one for one in inventory.objects if _is_off(one, media)]
    texts = [one.words.strip() for one in gone if one.kind is Kind.TEXT]
    count = len(gone) - len(texts)
    if sum(map(len, texts)) < LEAST_LOST:
        texts = []
    words = [f"the text “{_shortened(_joined(texts))}”"] if texts else []
    words += [f"{count} pictures" if count > 1 else "a picture"] if count else []
    if not words:
        return
    message = f"{{page}} holds {listed(words)} off the sheet, or more than half off it: that will not be printed."
    mend = "Move it on to the page if it belongs there; else take it away."
    yield Found("off_the_sheet", message, level=Level.NOTE, mend=mend)


def _is_off(one: Painted, media: Box) -> bool:
    unseen = one.alpha <= 0 or (one.box is not None and not one.seen)
    if unseen or one.kind not in (Kind.TEXT, Kind.PICTURE, Kind.STENCIL):
        return False
    kept = one.whole.common(media)
    if one.kind is not Kind.TEXT:
        return kept is None
    area = one.whole.width * one.whole.height
    return bool(one.words.strip()) and (kept is None or kept.width * kept.height < area / 2)


def _joined(texts: list[str]) -> str:
    """Pieces of text as one; letters that a program placed one by one stand together again."""
    return ("" if sum(map(len, texts)) < 2 * len(texts) else " ").join(texts)


def _shortened(text: str) -> str:
    return text if len(text) <= _MOST_SHOWN else text[: _MOST_SHOWN - 1].rstrip() + "…"


def on_larger_page(boxes: PageBoxes, trim: Box, bleed: Box) -> Found:
    """The art has the ordered size, and the page doesn't say that it is cut around it."""
    size, aim = show_size(*boxes.seen_size(boxes.crop)), show_size(*boxes.seen_size(trim))
    free = bleed_of(boxes, bleed, boxes.crop)
    across, up = free["left"] - free["right"], free["top"] - free["bottom"]
    middle = "in the middle" if max(abs(across), abs(up)) <= 2 * MM else "off the middle"
    around = f" and {show_length((bleed.width - trim.width) / 2 * boxes.user_unit)} bleed" if bleed != trim else ""
    left_free = listed([f"{show_length(free[side])} at the {side}" for side in SIDES])
    message = (
        f"{{page}} is {size}, and nothing says where it is cut (there is no trim box). Its art has the ordered size, {aim}"
        f"{around}, and lies {middle}, with {left_free} left free."
    )
    mend = f"Set the page to {aim} so that the art fills it, with bleed outside, or export with the trim box written."
    return Found("larger_page", message, measured=size, required=aim, mend=mend, box=trim)
