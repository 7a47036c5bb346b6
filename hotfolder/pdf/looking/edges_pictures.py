"""Makes the pictures that show what was found along the cut: where bleed ends, and what a shifted cut leaves."""

from __future__ import annotations

from PIL import Image, ImageDraw

from hotfolder.finding import Box
from hotfolder.pdf.boxes import PageBoxes
from hotfolder.pdf.looking.edges import Strip
from hotfolder.pdf.looking.edges_reach import Stretch
from hotfolder.pdf.render import Pages, Rendered
from hotfolder.units import MM

Colour = tuple[int, int, int]
AROUND = 6 * MM  # shown beside the bleed, further in and further out
LONGEST = 30 * MM  # of a stretch in a picture
SIDE = 600  # pixels of a picture's longer side
CUT, END, CASING, DESK = (74, 44, 140), (22, 27, 38), (255, 255, 255), (214, 214, 209)
CORNER = 30 * MM  # of the sheet that a picture of a shifted cut shows at each of two corners
GAP = 16  # pixels between the two corners


def draw_stretch(pages: Pages, page: int, stretch: Stretch) -> tuple[str, Image.Image]:
    """A piece of the side from near by, with the cut and the end of the bleed drawn in, and words for it."""
    strip = stretch.strip
    middle, half = (stretch.first + stretch.last) // 2, round(LONGEST / strip.pixel / 2)
    near = round(AROUND / strip.pixel)
    first, last = max(stretch.first, middle - half), min(stretch.last, middle + half)
    area = strip.box(first - near, last + near, -near, strip.outside + near)
    inches = max(area.width, area.height) * _unit(strip, area)
    drawn = pages.render(page, SIDE / inches, area)
    cut = strip.box(first - near, last + near, strip.outside, strip.outside + 1)
    end = strip.box(first - near, last + near, 0, 1)
    pen = ImageDraw.Draw(drawn.picture)
    _line(pen, drawn, strip, cut, CUT, 0)
    _line(pen, drawn, strip, end, END, 14)
    words = f"At the {strip.side}, from near by. Unbroken line: the cut; broken line: how far the art should reach"
    return words, drawn.picture


def _unit(strip: Strip, area: Box) -> float:
    """Inches of paper in a unit of the page's user space."""
    wide = strip.drawn.area.width
    pixels = strip.drawn.size[1] if strip.drawn.rotate % 180 else strip.drawn.size[0]
    return pixels * strip.pixel / 72 / wide


def _line(pen: ImageDraw.ImageDraw, drawn: Rendered, strip: Strip, along: Box, ink: Colour, dash: int) -> None:
    """A cased line along the outer edge of a place."""
    left, top, right, bottom = drawn.place(along)
    level = strip.side in ("top", "bottom")
    at = {"top": top, "bottom": bottom, "left": left, "right": right}[strip.side]
    start, stop = (left, right) if level else (top, bottom)
    step = dash * 2 or max(1, stop - start)
    for width, colour in ((5, CASING), (2, ink)):
        for begin in range(start, stop, step):
            end = min(stop, begin + (dash or step))
            pen.line((begin, at, end, at) if level else (at, begin, at, end), fill=colour, width=width)


def draw_cuts(pages: Pages, page: int, boxes: PageBoxes, trim: Box, shift: float) -> list[tuple[str, Image.Image]]:
    """Two opposite corners of the poster: as designed, and with the cut shifted diagonally each way."""
    said = f"{shift / MM:.2g} mm"
    ways = (
        ("As designed: the upper left and the lower right corner", 0, 0),
        (f"Cut {said} too far left and up", -shift, shift),
        (f"Cut {said} too far right and down", shift, -shift),
    )
    return [(words, _corners(pages, page, boxes, trim, across, up)) for words, across, up in ways]


def _corners(pages: Pages, page: int, boxes: PageBoxes, trim: Box, across: float, up: float) -> Image.Image:
    """The cut moved so far right and up, as the page is looked at."""
    for _ in range(boxes.rotate // 90):  # /Rotate turns clockwise what is seen; the page's own directions lie back
        across, up = -up, across
    unit = boxes.user_unit
    cut = Box(*(side + move / unit for side, move in zip(trim, (across, up, across, up), strict=True)))
    wide, high = (min(CORNER / unit, side / 2) for side in (cut.width, cut.height))
    upper_left = Box(cut.left, cut.top - high, cut.left + wide, cut.top)
    lower_right = Box(cut.right - wide, cut.bottom, cut.right, cut.bottom + high)
    if boxes.rotate % 180:
        upper_left = Box(cut.left, cut.bottom, cut.left + wide, cut.bottom + high)
        lower_right = Box(cut.right - wide, cut.top - high, cut.right, cut.top)
    if boxes.rotate >= 180:
        upper_left, lower_right = lower_right, upper_left
    ppi = 72 * (SIDE - 3 * GAP) / 2 / (max(wide, high) * unit)
    first, second = (pages.render(page, ppi, area).picture for area in (upper_left, lower_right))
    both = Image.new("RGB", (first.width + second.width + 3 * GAP, max(first.height, second.height) + 2 * GAP), DESK)
    both.paste(first, (GAP, GAP))
    both.paste(second, (first.width + 2 * GAP, GAP))
    return both
