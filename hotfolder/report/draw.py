"""Draws on proof pictures: the lines of trim, bleed and safe margin, their names, and numbers at the places found.

Each line is dark in a white casing, so that it shows on light and on dark art; what tells the lines apart is their
stroke and their name, not a colour.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

Pixels = tuple[int, int, int, int]  # left, top, right, bottom

INK, CASING, DESK = (22, 27, 38), (255, 255, 255), (214, 214, 209)
PLACE = (74, 44, 140)  # outlines and numbers of findings; report.css has the same
NO_ART, NO_ART_LINES = (236, 236, 232), (168, 168, 162)
FONTS = Path(__file__).parents[1] / "data" / "fonts"

LABEL_SIZE, ROW, INDENT = 22, 34, 30
BADGE = 26  # radius of a number's disc in pixels


@dataclass(frozen=True, slots=True)
class Stroke:
    """A way to draw a line: pixels of ink and of gap in turn; no gap is an unbroken line."""

    ink: int
    gap: int = 0


UNBROKEN, DASHED, DOTTED = Stroke(1), Stroke(18, 10), Stroke(3, 7)


@dataclass(frozen=True, slots=True)
class Line:
    """One of the sheet's lines: its name for the label, where it runs, how it is drawn."""

    name: str
    place: Pixels
    stroke: Stroke


@lru_cache
def font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(FONTS / ("NotoSans-Bold.ttf" if bold else "NotoSans-Regular.ttf")), size)


def frame(draw: ImageDraw.ImageDraw, place: Pixels, stroke: Stroke, width: int) -> None:
    """A rectangle of four cased lines whose middle runs along the place's edges."""
    _frame(draw, place, stroke, width, 1, INK)


def outline(draw: ImageDraw.ImageDraw, place: Pixels) -> None:
    """The strong outline of a place where something was found."""
    _frame(draw, place, UNBROKEN, 4, 3, PLACE)


def _frame(
    draw: ImageDraw.ImageDraw, place: Pixels, stroke: Stroke, width: int, casing: int, ink: tuple[int, int, int]
) -> None:
    left, top, right, bottom = place
    edges = (
        (left, top, right, top),
        (right, top, right, bottom),
        (left, bottom, right, bottom),
        (left, top, left, bottom),
    )
    for edge in edges:
        draw.rectangle(_bar(edge, width + 2 * casing), fill=CASING)
    for edge in edges:
        for part in _parts(edge, stroke):
            draw.rectangle(_bar(part, width, ends=not stroke.gap), fill=ink)


def _bar(edge: Pixels, width: int, *, ends: bool = True) -> Pixels:
    """The pixels of a straight line of that width, which `ends` lets reach past both ends as far as to its sides.

    Rectangles in Pillow include their last row and column.
    """
    left, top, right, bottom = edge
    before, after = width // 2, (width - 1) // 2
    across, down = (ends or left == right), (ends or top == bottom)
    return left - before * across, top - before * down, right + after * across, bottom + after * down


def _parts(edge: Pixels, stroke: Stroke) -> Iterator[Pixels]:
    left, top, right, bottom = edge
    length = max(right - left, bottom - top)
    step = stroke.ink + stroke.gap
    if not stroke.gap or step > length:
        yield edge
        return
    for at in range(0, length, step):
        end = min(at + stroke.ink, length) - 1
        yield (left + at, top, left + end, top) if bottom == top else (left, top + at, left, top + end)


def hatch(picture: Image.Image, kept: Pixels) -> None:
    """Hatch everything but the kept rectangle: there is no art there."""
    left, top = max(kept[0], 0), max(kept[1], 0)
    right, bottom = max(left, min(kept[2], picture.width)), max(top, min(kept[3], picture.height))
    strips = (
        (0, 0, picture.width, top),
        (0, bottom, picture.width, picture.height),
        (0, top, left, bottom),
        (right, top, picture.width, bottom),
    )
    for strip in strips:
        down, across = np.mgrid[strip[1] : strip[3], strip[0] : strip[2]]
        if down.size:
            lines = ((across + down) % 12 < 3)[..., None]
            picture.paste(Image.fromarray(np.where(lines, NO_ART_LINES, NO_ART).astype(np.uint8)), strip[:2])


def on_desk(picture: Image.Image, lines: list[Line], edge: int = 22) -> Image.Image:
    """The sheet on a plain ground, with the name of each line above it and a leader down to the line.

    Lines are named from the outermost to the innermost, each leader further right, so that none crosses a name.
    """
    room = edge + ROW * len(lines)
    inset = max((line.place[0] for line in lines), default=0) + 14
    longest = max((font(LABEL_SIZE).getlength(line.name) for line in lines), default=0)
    width = max(picture.width, math.ceil(inset + INDENT * len(lines) + longest + 2 * LABEL_SIZE))
    desk = Image.new("RGB", (width + 2 * edge, picture.height + room + edge), DESK)
    desk.paste(picture, (edge, room))
    draw = ImageDraw.Draw(desk)
    draw.rectangle((edge - 1, room - 1, edge + picture.width, room + picture.height), outline=(150, 150, 145))
    for row, line in enumerate(lines):
        x, y = edge + inset + INDENT * row, edge + ROW * row
        _leader(draw, x, y + ROW // 2, room + line.place[1])
        draw.text((x + 14, y + ROW // 2), line.name, fill=INK, font=font(LABEL_SIZE), anchor="lm")
    return desk


def _leader(draw: ImageDraw.ImageDraw, x: int, top: int, bottom: int) -> None:
    draw.rectangle((x - 2, top, x + 2, bottom), fill=DESK)
    draw.rectangle((x - 1, top, x, bottom), fill=INK)
    draw.line((x, top, x + 9, top), fill=INK, width=2)
    draw.ellipse((x - 6, bottom - 6, x + 5, bottom + 5), fill=INK, outline=CASING, width=2)


def number(draw: ImageDraw.ImageDraw, at: tuple[int, int], text: str) -> None:
    """A numbered disc with its middle at a pixel."""
    x, y = at
    draw.ellipse((x - BADGE, y - BADGE, x + BADGE, y + BADGE), fill=PLACE, outline=CASING, width=3)
    size = 30 if len(text) < 3 else 22
    draw.text((x, y), text, fill=CASING, font=font(size, bold=True), anchor="mm")


def free_spot(place: Pixels, size: tuple[int, int], taken: list[tuple[int, int]]) -> tuple[int, int]:
    """Where a place's number stands: just off a corner, or further on, within the picture, on no other number."""
    step, off = 2 * BADGE + 4, round(BADGE * 0.8)  # off the corner, so as not to hide a small place
    left, top, right, bottom = place[0] - off, place[1] - off, place[2] + off, place[3] + off
    corners = ((left, top), (right, top), (left, bottom), (right, bottom))
    spots = [*corners, *((left + step * across, top + step * down) for down in range(8) for across in range(8))]
    inside = [_kept_in(spot, size) for spot in spots]
    for spot in inside:
        if all(math.dist(spot, other) >= step for other in taken):
            return spot
    return inside[0]


def _kept_in(spot: tuple[int, int], size: tuple[int, int]) -> tuple[int, int]:
    x, y = (max(BADGE + 2, min(at, most - BADGE - 2)) for at, most in zip(spot, size, strict=True))
    return x, y
