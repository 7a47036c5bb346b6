"""Draws the map of total ink: from bare paper to the ink limit in one tone, beyond it in another, with a scale beside it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from hotfolder.report import draw

#: Percent of the limit -> colour. Lighter is less ink; the tone changes, and jumps in lightness, at the limit itself.
_UP_TO = ((0.0, (255, 255, 255)), (0.35, (214, 226, 221)), (0.7, (118, 164, 153)), (1.0, (18, 74, 64)))
#: Percentage points beyond the limit -> colour.
_BEYOND = ((0.0, (255, 176, 66)), (40.0, (224, 84, 30)), (100.0, (120, 12, 28)))
MOST = 500  # percent; what is more looks the same
_LEAST_WIDTH, _ROOM, _EDGE, _BAR = 460, 118, 20, 22


def tones(limit: float) -> NDArray[np.uint8]:
    """The colour of each total: (MOST * 255 / 100 + 1, 3), by total in 1/255 of one full ink."""
    percent = np.arange(MOST * 255 // 100 + 1) / 2.55
    made = np.empty((len(percent), 3))
    for channel in range(3):
        below = np.interp(percent / limit, [at for at, _ in _UP_TO], [colour[channel] for _, colour in _UP_TO])
        above = np.interp(percent - limit, [at for at, _ in _BEYOND], [colour[channel] for _, colour in _BEYOND])
        made[:, channel] = np.where(percent > limit + 0.1, above, below)  # 0.1: less than one step
    return np.round(made).astype(np.uint8)


def ink_map(total: NDArray[np.uint16], limit: float) -> Image.Image:
    """The plain map, pixel for pixel. `total` in 1/255 of one full ink, `limit` in percent."""
    table = tones(limit)
    return Image.fromarray(table[np.minimum(total, len(table) - 1)])


def with_scale(picture: Image.Image, limit: float, heading: str) -> Image.Image:
    """The map on a plain ground, with the scale and its limit below."""
    width = max(picture.width, _LEAST_WIDTH) + 2 * _EDGE
    whole = Image.new("RGB", (width, picture.height + 2 * _EDGE + _ROOM), draw.DESK)
    whole.paste(picture, (_EDGE, _EDGE))
    pen = ImageDraw.Draw(whole)
    pen.rectangle((_EDGE - 1, _EDGE - 1, _EDGE + picture.width, _EDGE + picture.height), outline=(150, 150, 145))
    _scale(whole, pen, picture.height + 2 * _EDGE, limit, heading)
    return whole


def _scale(whole: Image.Image, pen: ImageDraw.ImageDraw, top: int, limit: float, heading: str) -> None:
    font, bold = draw.font(15), draw.font(15, bold=True)
    pen.text((_EDGE, top), _fitted(heading, bold, whole.width - 2 * _EDGE), fill=draw.INK, font=bold)
    left, length = _EDGE, min(whole.width - 2 * _EDGE, 900)
    end = max(400.0, limit + 100)
    bar = np.round(np.linspace(0, end, length) * 2.55).astype(np.uint16)
    y = top + 34
    whole.paste(ink_map(np.tile(bar, (_BAR, 1)), limit), (left, y))
    pen.rectangle((left - 1, y - 1, left + length, y + _BAR), outline=(120, 120, 116))
    at = left + round(limit / end * (length - 1))
    taken = [(at - 4, at + 4)]
    for mark in [0.0, *np.arange(100, end + 1, 100)]:
        x = left + round(mark / end * (length - 1))
        text = f"{mark:g} %"
        half = font.getlength(text) / 2
        middle = min(max(x, left + half), left + length - half)
        if mark != limit and all(middle + half < a or middle - half > b for a, b in taken):
            pen.line((x, y + _BAR, x, y + _BAR + 5), fill=draw.INK)
            pen.text((middle, y + _BAR + 6), text, fill=draw.INK, font=font, anchor="ma")
            taken.append((round(middle - half), round(middle + half)))
    pen.line((at, y - 6, at, y + _BAR + 26), fill=draw.INK, width=3)
    text = f"limit {limit:g} %"
    half = bold.getlength(text) / 2
    pen.text(
        (min(max(at, left + half), left + length - half), y + _BAR + 28), text, fill=draw.INK, font=bold, anchor="ma"
    )


def _fitted(text: str, font: ImageFont.FreeTypeFont, width: float) -> str:
    if font.getlength(text) <= width:
        return text
    while text and font.getlength(text + "…") > width:
        text = text[:-1]
    return text + "…"
