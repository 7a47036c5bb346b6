"""Tells whether a picture holds nothing but even tones and gentle changes, for which few pixels are enough."""

import numpy as np
import pikepdf
import pyvips
from numpy.typing import NDArray
from pikepdf import Object, Stream

from hotfolder.pdf.objects import entry
from hotfolder.pdf.pictures.facts import read_facts
from hotfolder.pdf.pictures.feeding import strips
from hotfolder.pdf.pictures.reading import load
from hotfolder.pdf.values.spaces import GRAY, Space

MOST_PIXELS = 12_000_000  # looked at; a picture of more counts as detailed
LEAST_STEP = (
    12.0  # of 255, from one pixel to the next: more is an edge, or grain that is seen; JPEG of gradients has 10
)


def is_smooth(picture: Object, space: Space) -> bool:
    """No where its soft mask isn't smooth too, where it has a mask by shape or colour, few bits, or can't be read."""
    mask = entry(picture, "/SMask")
    if not isinstance(picture, Stream) or entry(picture, "/Mask") is not None:
        return False
    try:
        return _is_smooth(picture, space) and (not isinstance(mask, Stream) or _is_smooth(mask, GRAY))
    except (ValueError, pyvips.Error, pikepdf.PdfError):
        return False


def _is_smooth(picture: Stream, space: Space) -> bool:
    facts = read_facts(picture, space)
    if facts.bits < 8 or facts.width * facts.height > MOST_PIXELS:
        return False
    last: NDArray[np.float32] | None = None
    for rows in strips(load(picture, space, facts, careful=True)):
        levels = _levels(rows, space)
        if last is not None:
            levels = np.concatenate([last[None], levels])
        if any(np.abs(np.diff(levels, axis=axis)).max(initial=0) > LEAST_STEP for axis in (0, 1)):
            return False
        last = levels[-1]
    return True


def _levels(rows: NDArray[np.integer], space: Space) -> NDArray[np.float32]:
    """Every channel in 0 to 255; of a picture with a colour table, those of its colours."""
    if space.kind == "Indexed" and space.base is not None and space.table is not None:
        low, high = np.array(space.base.ranges(8)).T
        table = (space.table - low) / np.maximum(high - low, 1e-9) * 255
        return np.asarray(table[np.minimum(rows[:, :, 0], len(table) - 1)], np.float32)
    return np.asarray(rows, np.float32) / np.float32(1 if rows.dtype == np.uint8 else 257)
