"""Tells whether a picture holds nothing but even tones, gentle changes or large squares: few pixels are enough for it."""

from collections.abc import Iterator

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
#: What a hard edge has when it was blurred by 1.2 pixels (a Gaussian curve's standard deviation s): a slope of at most
#: 255 / (s sqrt(2 pi)), and a change of slope of at most 255 / (s s sqrt(2 pi e)). An edge that is only smoothed over one
#: or two pixels changes its slope by 85 or more.
BLURRED_STEP, BLURRED_BEND = 85.0, 43.0
LEAST_SQUARE = 4  # pixels between the edges of what counts as squares
MOST_TONES = 8  # of these squares; a photograph that was enlarged pixel by pixel has more
BORDER = 2  # pixels that these may be nearer to the picture's own border, where nothing but its ground is seen

Levels = NDArray[np.float32]


def is_smooth(picture: Object, space: Space, *, blurred_mask: bool = False) -> bool:
    """No where its soft mask isn't smooth too, where it has a mask by shape or colour, or can't be read.

    `blurred_mask`: a soft mask with nothing but blurred edges counts as smooth, as that of a shadow or a glow.
    """
    mask = entry(picture, "/SMask")
    if not isinstance(picture, Stream) or entry(picture, "/Mask") is not None:
        return False
    most = (BLURRED_STEP, BLURRED_BEND) if blurred_mask else (LEAST_STEP, 2 * LEAST_STEP)
    try:
        return _is_gentle(picture, space) and (not isinstance(mask, Stream) or _is_gentle(mask, GRAY, *most))
    except (ValueError, pyvips.Error, pikepdf.PdfError):
        return False


def is_squares(picture: Object, space: Space | None) -> bool:
    """Whether all edges of a picture lie on a few columns and rows, several pixels apart, as those of a QR code do:
    however large its pixels are shown, they show it whole. It has few tones, too. `space`: None for a stencil.

    No where it has no edge, or a mask with edges, or can't be read.
    """
    mask = entry(picture, "/SMask")
    if not isinstance(picture, Stream) or entry(picture, "/Mask") is not None:
        return False
    try:
        return _is_squares(picture, space or GRAY) and (not isinstance(mask, Stream) or _is_gentle(mask, GRAY))
    except (ValueError, pyvips.Error, pikepdf.PdfError):
        return False


def _is_gentle(picture: Stream, space: Space, step: float = LEAST_STEP, bend: float = 2 * LEAST_STEP) -> bool:
    """No step from one pixel to the next, and no change of such steps, is larger than these."""
    for levels in _overlapping(picture, space, 2):
        for axis in (0, 1):
            steps = np.diff(levels, axis=axis)
            if np.abs(steps).max(initial=0) > step or np.abs(np.diff(steps, axis=axis)).max(initial=0) > bend:
                return False
    return True


def _is_squares(picture: Stream, space: Space) -> bool:
    down, columns = [-1 - BORDER], list[int]()  # edges, each named by the last line of pixels before it
    across, tones, top = np.zeros(0, bool), set[bytes](), 0
    for levels in _overlapping(picture, space, 1):
        edges = np.abs(np.diff(levels, axis=0)).max(axis=2, initial=0) > LEAST_STEP
        down += (np.flatnonzero(edges.any(axis=1)) + top).tolist()
        found = (np.abs(np.diff(levels, axis=1)).max(axis=2, initial=0) > LEAST_STEP).any(axis=0)
        across = found | across if len(across) else found
        top += len(levels) - 1
        columns = [-1 - BORDER, *np.flatnonzero(across).tolist(), len(across) + BORDER]
        if not (_apart(down) and _apart(columns)):
            return False
        coarse = (levels[::LEAST_SQUARE, ::LEAST_SQUARE] / 16).astype(np.uint8).reshape(-1, levels.shape[2])
        tones |= {tone.tobytes() for tone in np.unique(coarse, axis=0)}
        if len(tones) > MOST_TONES:
            return False
    return _apart([*down, top + BORDER]) and len(down) + len(columns) > 3


def _apart(edges: list[int]) -> bool:
    return len(edges) < 2 or int(np.diff(edges).min()) >= LEAST_SQUARE


def _overlapping(picture: Stream, space: Space, rows: int) -> Iterator[Levels]:
    """The picture's channels from top to bottom, each strip with the last `rows` of the one before. ValueError where
    there is more than is looked at."""
    facts = read_facts(picture, space)
    if facts.width * facts.height > MOST_PIXELS:
        raise ValueError("it has more pixels than are looked at")
    last: Levels | None = None
    for each in strips(load(picture, space, facts, careful=True)):
        levels = _levels(each, space)
        levels = levels if last is None else np.concatenate([last, levels])
        yield levels
        last = levels[-rows:]


def _levels(rows: NDArray[np.integer], space: Space) -> Levels:
    """Every channel in 0 to 255; of a picture with a colour table, those of its colours."""
    if space.kind == "Indexed" and space.base is not None and space.table is not None:
        low, high = np.array(space.base.ranges(8)).T
        table = (space.table - low) / np.maximum(high - low, 1e-9) * 255
        return np.asarray(table[np.minimum(rows[:, :, 0], len(table) - 1)], np.float32)
    return np.asarray(rows, np.float32) / np.float32(1 if rows.dtype == np.uint8 else 257)
