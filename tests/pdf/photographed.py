"""Draws pictures that have the statistics of a photograph: leaves that lie over one another, of all sizes.

The model of "dead leaves": discs of a size distribution that falls with the third power hide one another, which gives
the evenly falling spectrum of natural pictures (Lee, Mumford, Huang, Int. J. Computer Vision 41, 35, 2001; from memory).
"""

import numpy as np
from PIL import Image, ImageDraw


def leaves(width: int, height: int, seed: int = 7) -> Image.Image:
    """A sharp RGB picture; drawn twice as large and made smaller, as a good lens and sensor would."""
    random = np.random.default_rng(seed)
    across, down = 2 * width, 2 * height
    least, largest, count = 3.0, across / 3, across * down // 60
    part = random.random(count)
    radii = 1 / np.sqrt(part / largest**2 + (1 - part) / least**2)
    places = random.random((count, 2)) * (across, down)
    colours = np.clip(random.normal(125, 45, (count, 1)) + random.normal(0, 25, (count, 3)), 0, 255).astype(int)
    picture = Image.new("RGB", (across, down), (120, 120, 110))
    drawing = ImageDraw.Draw(picture)
    for (x, y), radius, colour in zip(places, radii, colours.tolist(), strict=True):
        drawing.ellipse((x - radius, y - radius, x + radius, y + radius), fill=tuple(colour))
    return picture.resize((width, height), Image.Resampling.BOX)
