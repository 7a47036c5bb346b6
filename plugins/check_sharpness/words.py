"""What check_sharpness says to people."""

from __future__ import annotations

import math

from hotfolder.plugin import show_size

SOFT_MEND = (
    "If it is meant to be soft, it can stay. Otherwise {way} Enlarging a file in a program adds pixels, but no detail."
)
PLACE = "place the picture as the camera or the picture library delivered it, not enlarged, with at least {pixels}."
DROP = "drop the picture as the camera or the picture library delivered it, not enlarged, with at least {pixels}."
BLOCKY_MEND = (
    "Export the picture once more from its original with high quality. Saving this file again at a higher quality "
    "doesn't bring back what is lost."
)


def which(page: int, count: int, pixels: tuple[int, int], size: tuple[float, float]) -> str:
    start = f"On page {page} a" if count > 1 else "A"
    return f"{start} picture of {pixels[0]} × {pixels[1]} pixels, {show_size(*size)},"


def about(ppi: float) -> int:
    """In steps of ten, or five where that is much: no more is known."""
    step = 10 if ppi > 50 else 5
    return max(step, round(ppi / step) * step)


def soft(start: str, ppi: float, detail: float) -> str:
    return (
        f"{start} has {ppi:.0f} pixels per inch, but only as much detail as about {about(detail)} would show: it was "
        "enlarged beforehand, or it is out of focus, and will look soft."
    )


def soft_mend(kind: str, size: tuple[float, float], needed: float) -> str:
    pixels = " × ".join(str(math.ceil(side / 72 * needed)) for side in size)
    way = PLACE if kind in ("", "pdf") else DROP
    return SOFT_MEND.format(way=way.format(pixels=f"{pixels} pixels"))


def blocky(start: str, square: float) -> str:
    return f"{start} was compressed so strongly that it shows squares, each {square:.1f} mm wide on paper."
