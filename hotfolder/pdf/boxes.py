"""Where a page is cut, how far its art reaches beyond the cut, and how large it really is: the page's boxes.

ISO 32000-1 14.11.2 (page boundaries), Table 30 (page entries), 7.9.5 (rectangles).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from pikepdf import Array, Dictionary, Name, Page

from hotfolder.finding import Box
from hotfolder.pdf.objects import entry, inherited
from hotfolder.pdf.objects import number as finite
from hotfolder.units import MM, Size, show_length, show_size

MOST_UNITS = 14_400.0  # ISO 32000-1 annex C.2: a page's sides in units of its user space (UserUnit not counted)
LEAST_UNITS = 3.0  # annex C.2
FARTHEST = 1e6  # a corner further out than this is damage: readers that count in single precision lose the art
MOST_USER_UNIT = 10_000.0  # 14 400 units of this are 50 km; beyond it the number is a mistake
SLACK = 1e-3  # points; what programs lose by rounding the numbers of boxes that touch

TOLERANCE = MM  # sizes match within this ...
SHARE = 0.003  # ... or within this part of the side, whichever is more (A0 typeset in whole points is 1.4 mm short)
USUAL_BLEEDS = tuple(mm * MM for mm in (3, 3.175, 4, 5, 6))  # common practice, no published source
_BLEED_SLACK = 0.5 * MM  # page size less ordered size must meet 2 x bleed this closely


@dataclass(frozen=True)
class PageBoxes:
    """The five boxes of a page in its own user space, each in force as 14.11.2 says; corners in order.

    `declared` names the boxes that the page itself (or, for Media and Crop, a node above it) gives; `reduced` those
    of them that reach beyond the media box and count only as far as it goes.
    """

    media: Box
    crop: Box
    bleed: Box
    trim: Box
    art: Box
    declared: frozenset[str]  # of "MediaBox", "CropBox", "BleedBox", "TrimBox", "ArtBox"
    reduced: frozenset[str] = frozenset()
    rotate: int = 0  # clockwise, 0, 90, 180 or 270; boxes are not turned
    user_unit: float = 1.0  # points in a unit of user space

    def size(self, box: Box) -> tuple[float, float]:
        """Width and height in points (1/72 in), UserUnit counted, as drawn (Rotate not counted)."""
        return box.width * self.user_unit, box.height * self.user_unit

    def seen_size(self, box: Box) -> tuple[float, float]:
        """Width and height in points as the page is looked at, Rotate counted."""
        width, height = self.size(box)
        return (height, width) if self.rotate % 180 else (width, height)


@dataclass(frozen=True)
class Inferred:
    """Where a page without TrimBox is to be cut, and why: a sentence for the report. `bleed` contains `trim`."""

    trim: Box
    bleed: Box
    sentence: str


def read_boxes(page: Page | Dictionary) -> PageBoxes:
    """The boxes of a page. ValueError with one sentence where they make no sense."""
    node = page.obj if isinstance(page, Page) else page
    media = _box(inherited(node, "/MediaBox"), "MediaBox")
    if media is None:
        raise ValueError("The page doesn't say how large it is (it has no MediaBox).")
    _check_page_size(media)
    own_crop = _box(inherited(node, "/CropBox"), "CropBox")
    declared = {"MediaBox"} | ({"CropBox"} if own_crop else set())
    crop = _inside(own_crop, media, "CropBox") if own_crop else media
    others = {}
    reduced = set() if own_crop is None or own_crop.within(media, SLACK) else {"CropBox"}
    for name in ("BleedBox", "TrimBox", "ArtBox"):  # not inheritable: one on a node of the page tree means nothing
        own = _box(entry(node, "/" + name), name)
        others[name] = _inside(own, media, name) if own else crop
        declared |= {name} if own else set()
        reduced |= {name} if own and not own.within(media, SLACK) else set()
    return PageBoxes(
        media=media,
        crop=crop,
        bleed=others["BleedBox"],
        trim=others["TrimBox"],
        art=others["ArtBox"],
        declared=frozenset(declared),
        reduced=frozenset(reduced),
        rotate=_rotate(inherited(node, "/Rotate")),
        user_unit=_user_unit(entry(node, "/UserUnit")),
    )


def set_box(page: Page | Dictionary, name: str, box: Box) -> None:
    """Write one box ("TrimBox", ...) of a page, to 1/10 000 unit: boxes that nest still nest, the same stay the same."""
    node = page.obj if isinstance(page, Page) else page
    node[Name("/" + name)] = Array([Decimal(f"{side:.4f}") for side in box])


def size_matches(
    found: tuple[float, float], ordered: tuple[float, float], tolerance: float = TOLERANCE, share: float = SHARE
) -> bool:
    """Whether two sizes in points are the same, give or take, in either orientation."""
    return any(
        all(abs(side - aim) <= max(tolerance, aim * share) for side, aim in zip(found, way, strict=True))
        for way in (ordered, ordered[::-1])
    )


def infer_trim(
    boxes: PageBoxes, trim: Size | None, bleed: float, tolerance: float = TOLERANCE, share: float = SHARE
) -> Inferred | None:
    """Where to cut a page that has no TrimBox, judged by its size and the order; None where that can't be told.

    `trim` and `bleed` are the ticket's, in points. The page's BleedBox counts first, then the page as shown.
    """
    if trim is None:
        sentence = f"The file doesn't say where it is cut, so its page edge counts: {_show(boxes, boxes.bleed)}."
        return Inferred(boxes.bleed, boxes.bleed, sentence)
    is_ordered = size_matches(boxes.size(boxes.art), (trim.width, trim.height), tolerance, share)
    if "ArtBox" in boxes.declared and is_ordered and boxes.art.within(boxes.bleed, SLACK):
        return Inferred(boxes.art, boxes.bleed, "The file gives an art box of the ordered size; it is cut there.")
    for base in dict.fromkeys((boxes.bleed, boxes.crop)):
        found = _best_bleed(boxes.size(base), trim, bleed, tolerance, share)
        if found is not None:
            return _cut(boxes, base, found)
    return None


def cut_of(
    boxes: PageBoxes, trim: Size | None, bleed: float, tolerance: float = TOLERANCE, share: float = SHARE
) -> tuple[Box, Box] | None:
    """Trim and bleed of a page: as its TrimBox says, else as the order lets infer; None where that can't be told."""
    if "TrimBox" in boxes.declared:
        return boxes.trim, boxes.bleed
    inferred = infer_trim(boxes, trim, bleed, tolerance, share)
    return (inferred.trim, inferred.bleed) if inferred is not None else None


def _best_bleed(page: tuple[float, float], trim: Size, bleed: float, tolerance: float, share: float) -> float | None:
    """The bleed around the ordered size that explains the page's size best: 0, the ordered one, or a usual one."""
    answers = []
    for around in sorted({0.0, bleed, *USUAL_BLEEDS}):
        for width, height in ((trim.width, trim.height), (trim.height, trim.width)):
            off = max(abs(page[0] - width - 2 * around), abs(page[1] - height - 2 * around))
            aim = (width, height)
            if size_matches(page, aim, tolerance, share) if around == 0 else off <= _BLEED_SLACK:
                answers.append((off, around))
    return min(answers)[1] if answers else None


def _cut(boxes: PageBoxes, base: Box, bleed: float) -> Inferred:
    if bleed == 0:
        return Inferred(
            base, base, "The file doesn't say where it is cut; its page has the ordered size, without bleed."
        )
    sentence = (
        f"The file doesn't say where it is cut; its page is the ordered size and {show_length(bleed)} bleed around."
    )
    return Inferred(base.grown(-bleed / boxes.user_unit), base, sentence)


def _show(boxes: PageBoxes, box: Box) -> str:
    return show_size(*boxes.seen_size(box))


# ---- reading without trust


def _box(value: object, name: str) -> Box | None:
    """A rectangle with its corners in order; None where there is none."""
    if value is None:
        return None
    if not isinstance(value, Array) or len(value) != 4:
        raise ValueError(f"The page's {name} is damaged: it isn't a list of four numbers.")
    left, bottom, right, top = _sides(value, name)
    box = Box(min(left, right), min(bottom, top), max(left, right), max(bottom, top))
    if box.width <= 0 or box.height <= 0:
        raise ValueError(f"The page's {name} has no area: it is {box.width:g} × {box.height:g} points.")
    return box


def _sides(value: Array, name: str) -> Iterator[float]:
    for item in value:
        try:
            side = finite(item)
        except ValueError:
            raise ValueError(f"The page's {name} is damaged: one of its four entries isn't a usable number.") from None
        if abs(side) > FARTHEST:
            raise ValueError(f"The page's {name} is damaged: it reaches to {side:g} points, which no page does.")
        yield side


def _check_page_size(media: Box) -> None:
    longest, shortest = max(media.width, media.height), min(media.width, media.height)
    if longest > MOST_UNITS + SLACK:
        raise ValueError(f"The page is {longest:g} units long; a PDF page may have {MOST_UNITS:g} at most.")
    if shortest < LEAST_UNITS:
        raise ValueError(
            f"The page is only {media.width:g} × {media.height:g} units small; nothing can be printed on it."
        )


def _inside(box: Box, media: Box, name: str) -> Box:
    """14.11.2.1: a box that reaches beyond the media box is reduced to the part inside it."""
    common = box.common(media)
    if common is None:
        raise ValueError(f"The page's {name} lies outside the page.")
    return common


def _rotate(value: object) -> int:
    angle = _number_or(value, 0.0)
    if angle is None or angle % 90:
        raise ValueError("The page's Rotate entry isn't a multiple of 90 degrees.")
    return int(angle) % 360


def _user_unit(value: object) -> float:
    unit = _number_or(value, 1.0)
    if unit is None or not 1 / MOST_USER_UNIT <= unit <= MOST_USER_UNIT:
        raise ValueError("The page's UserUnit, the scale of all its measures, isn't a usable number.")
    return unit


def _number_or(value: object, absent: float) -> float | None:
    """The number; `absent` where there is no entry; None where it is no number."""
    if value is None:
        return absent
    try:
        return finite(value)
    except ValueError:
        return None
