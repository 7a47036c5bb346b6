"""The proof: a picture of the sheet with trim, bleed and safe margin drawn in, and numbers where something was found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from PIL import Image, ImageDraw

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.render import Pages, Rendered
from hotfolder.report import draw
from hotfolder.ticket import Ticket
from hotfolder.units import MM

LONG_SIDE = 1400  # pixels of the sheet
CROP_SIZE = (640, 480)
MOST_PPI = 300.0  # a small sheet is not blown up beyond this
MOST_CROP_PPI = 600.0
LEAST_CROP = (36 * MM, 27 * MM)  # so that a crop shows enough around a small place to know it again
AROUND = 1.8  # how much larger than its place a crop is, as far as the sheet goes


@dataclass(frozen=True, slots=True)
class Place:
    """Where a numbered finding stands on a page."""

    number: int
    box: Box


@dataclass(frozen=True, slots=True)
class Edges:
    """The sheet's lines in the page's user space."""

    bleed: Box  # as ordered: how far the art should reach
    trim: Box
    safe: Box | None  # None where the margin leaves nothing


def edges(boxes: PageBoxes, ticket: Ticket) -> Edges:
    """Trim as the file has it; bleed and safe margin around it as the ticket orders them."""
    safe = boxes.trim.grown(-ticket.safe_margin / boxes.user_unit)
    return Edges(
        bleed=boxes.trim.grown(ticket.bleed / boxes.user_unit),
        trim=boxes.trim,
        safe=safe if safe.width > 0 and safe.height > 0 else None,
    )


def shown_area(media: Box, lines: Edges) -> Box:
    """What the proof shows: the sheet, and where art is missing around it, the bleed that was ordered."""
    bleed = lines.bleed
    return Box(
        min(media.left, bleed.left), min(media.bottom, bleed.bottom), max(media.right, bleed.right), max(media.top, bleed.top)
    )  # fmt: skip


def lacks_sheet(boxes: PageBoxes, ticket: Ticket) -> bool:
    """Whether the ordered bleed reaches beyond the sheet."""
    return not edges(boxes, ticket).bleed.within(boxes.media, 0.5)


def proof_ppi(inches: tuple[float, float]) -> float:
    """The resolution at which a sheet of that size comes to the proof's long side."""
    return min(LONG_SIDE / max(inches), MOST_PPI)


def draw_proof(pages: Pages, page: int, boxes: PageBoxes, ticket: Ticket, places: Sequence[Place]) -> Image.Image:
    """The finished proof of one page. ValueError where the page can't be drawn."""
    lines = edges(boxes, ticket)
    area = shown_area(boxes.media, lines)
    drawn = pages.render(page, proof_ppi(pages.shown_inches(page, area)), area)
    picture = drawn.picture
    sheet = drawn.place(boxes.media)
    if _shows_outside(sheet, picture):
        draw.hatch(picture, sheet)
    named = _named_lines(drawn, lines)
    pen = ImageDraw.Draw(picture)
    for line in named:
        draw.frame(pen, line.place, line.stroke, line_width(named))
    mark_places(drawn, places)
    return draw.on_desk(picture, named)


def _shows_outside(sheet: draw.Pixels, picture: Image.Image) -> bool:
    return sheet[0] > 0 or sheet[1] > 0 or sheet[2] < picture.width or sheet[3] < picture.height


def _named_lines(drawn: Rendered, lines: Edges) -> list[draw.Line]:
    """The lines from the outermost in, moved on to the picture's last pixels where they run along its edge."""
    named = [("bleed", lines.bleed, draw.DASHED), ("trim", lines.trim, draw.UNBROKEN)]
    if lines.safe is not None:
        named.append(("safe margin", lines.safe, draw.DOTTED))
    return [draw.Line(name, _on_picture(drawn, box), stroke) for name, box, stroke in named]


def _on_picture(drawn: Rendered, box: Box) -> draw.Pixels:
    left, top, right, bottom = drawn.place(box)
    most_x, most_y = drawn.picture.width - 2, drawn.picture.height - 2
    return max(1, min(left, most_x)), max(1, min(top, most_y)), max(1, min(right, most_x)), max(1, min(bottom, most_y))


def line_width(lines: Sequence[draw.Line]) -> int:
    """Thinner where bleed and trim come so close on the picture that wide lines would run into one."""
    bleed, trim = lines[0].place, lines[1].place
    return 3 if min(abs(a - b) for a, b in zip(bleed, trim, strict=True)) >= 6 else 1


def mark_places(drawn: Rendered, places: Sequence[Place]) -> None:
    """Outline the places of findings and number them."""
    pen = ImageDraw.Draw(drawn.picture)
    taken: list[tuple[int, int]] = []
    outlines = [(place, _on_picture(drawn, place.box)) for place in places]
    for _, outline in outlines:
        draw.outline(pen, outline)
    for place, outline in outlines:
        spot = draw.free_spot(outline, drawn.picture.size, taken)
        draw.number(pen, spot, str(place.number))
        taken.append(spot)


# ---- crops


def crop_area(box: Box, boxes: PageBoxes) -> Box | None:
    """The part of the sheet a crop shows around a place; None where the place is off the sheet."""
    sheet = boxes.media
    if box.grown(1).common(sheet) is None:  # grown, because a place may be a mere point
        return None
    ratio = CROP_SIZE[0] / CROP_SIZE[1]
    least_wide, least_high = LEAST_CROP
    if boxes.rotate % 180:
        ratio, least_wide, least_high = 1 / ratio, least_high, least_wide
    wide = max(box.width * AROUND, least_wide / boxes.user_unit)
    high = max(box.height * AROUND, least_high / boxes.user_unit)
    wide, high = max(wide, high * ratio), max(high, wide / ratio)
    left, right = _span(box.left, box.right, wide, sheet.left, sheet.right)
    bottom, top = _span(box.bottom, box.top, high, sheet.bottom, sheet.top)
    return Box(left, bottom, right, top)


def _span(start: float, end: float, length: float, least: float, most: float) -> tuple[float, float]:
    """So much length around the middle of start and end, moved and cut to stay between least and most."""
    length = min(length, most - least)
    first = min(max((start + end - length) / 2, least), most - length)
    return first, first + length


def crop_ppi(area: Box, boxes: PageBoxes) -> float:
    width, height = boxes.seen_size(area)
    return min(72 * min(CROP_SIZE[0] / width, CROP_SIZE[1] / height), MOST_CROP_PPI)


def draw_crop(pages: Pages, page: int, boxes: PageBoxes, box: Box, area: Box) -> Image.Image:
    """A place with its surroundings, outlined. ValueError where the page can't be drawn."""
    drawn = pages.render(page, crop_ppi(area, boxes), area)
    left, top, right, bottom = drawn.place(box)
    # A little off the place itself, so that the outline hides none of it.
    # Where the place reaches beyond the crop, so does its outline, but not to pixels nobody can count to.
    wide, high = drawn.picture.width + 20, drawn.picture.height + 20
    outline = (max(left - 8, -20), max(top - 8, -20), min(right + 8, wide), min(bottom + 8, high))
    draw.outline(ImageDraw.Draw(drawn.picture), outline)
    return drawn.picture


def usable(box: Box | None) -> bool:
    """Whether a finding's box can be drawn at all."""
    return box is not None and all(math.isfinite(side) for side in box) and box.width >= 0 and box.height >= 0
