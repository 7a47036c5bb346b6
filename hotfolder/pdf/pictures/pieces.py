"""Takes small square pieces out of a picture as brightness, and reads no more of a large one than is needed for that."""

from collections.abc import Iterator

import numpy as np
import pyvips
from numpy.typing import NDArray
from pikepdf import Stream

from hotfolder.pdf.pictures.facts import Facts, read_facts, undressed
from hotfolder.pdf.pictures.feeding import DAMAGED
from hotfolder.pdf.pictures.jpeg_tables import is_progressive
from hotfolder.pdf.pictures.reading import load
from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.outcome import CannotConvert

SIDE = 128  # pixels: 16 of JPEG's squares
MOST_PIXELS = 12_000_000  # read of one picture, from its top: as long as JPEG takes a quarter of a second
MOST_UNPACKED = 6_000_000  # the same of those that aren't JPEG, which take longer to unpack
MOST_HELD = 4_000_000  # pixels of a picture whose coding must be undone as a whole
_STREAMED = ("", "DCTDecode", "FlateDecode")
_IN_A_ROW = 12  # places looked at in one row of pieces
_KEPT = 3  # of them, those with the most in them; twice as many of a wide picture, whose rows cost more to read
_WIDE = 24 * SIDE
_LUMA = (0.299, 0.587, 0.114)  # ITU-R BT.601


def detailed_pieces(picture: Stream, space: Space, most: int = MOST_PIXELS) -> Iterator[Floats]:
    """The liveliest squares of SIDE by SIDE pixels, from the top down: brightness 0 to 255, at places that are multiples
    of SIDE. Of a picture with more than `most` pixels the upper part only; nothing of one that is too small, of a few
    bits, or too slow to read. CannotConvert or ValueError where the data is damaged.
    """
    facts = read_facts(picture, space)
    if min(facts.width, facts.height) < SIDE or facts.bits < 8 or not _affordable(picture, facts):
        return
    image = load(picture, space, facts)
    kind: type[np.integer] = np.uint8 if image.format == "uchar" else np.uint16
    rows = min(facts.height, (most if facts.coding == "DCTDecode" else min(most, MOST_UNPACKED)) // facts.width)
    try:
        for top in range(0, rows - SIDE + 1, SIDE):
            raw = pyvips.Region.new(image).fetch(0, top, image.width, SIDE)
            strip = np.frombuffer(raw, kind).reshape(SIDE, image.width, image.bands)
            for left in _liveliest(strip, top):
                yield _brightness(strip[:, left : left + SIDE], space)
    except pyvips.Error as fault:
        raise CannotConvert(DAMAGED) from fault


def _affordable(picture: Stream, facts: Facts) -> bool:
    if facts.width * facts.height <= MOST_HELD:
        return True
    if facts.coding == "DCTDecode" and is_progressive(undressed(picture)):
        return False
    return len(facts.filters) < 2 and facts.coding in _STREAMED


def _liveliest(strip: NDArray[np.integer], top: int) -> list[int]:
    """Where the liveliest places of one row of pieces begin, of some spread over it, others in each row."""
    places = strip.shape[1] // SIDE
    step = max(1, places // _IN_A_ROW)
    lefts = [SIDE * place for place in range(top // SIDE % step, places, step)]
    # Every fourth pixel tells whether there is anything at all.
    lively = [float(strip[::4, left : left + SIDE : 4].astype(np.float32).std(axis=(0, 1)).max()) for left in lefts]
    return [
        left
        for _, left in sorted(zip(lively, lefts, strict=True), reverse=True)[: _KEPT * (1 + (strip.shape[1] >= _WIDE))]
    ]


def _brightness(pixels: NDArray[np.integer], space: Space) -> Floats:
    """Roughly: how bright a colour looks is not the question here, but where it changes."""
    values = pixels.astype(np.float64)
    if space.kind == "Indexed" and space.base is not None and space.table is not None:
        places = np.minimum(pixels[:, :, 0], len(space.table) - 1)
        low, high = np.array(space.base.ranges(8)).T
        values, space = (space.table[places] - low) / np.maximum(high - low, 1e-9) * 255, space.base
    elif pixels.dtype == np.uint16:
        values /= 257
    if space.n == 3 and space.kind != "Lab":
        return np.asarray(values[:, :, :3] @ np.array(_LUMA))
    if space.n == 4 or space.inks:
        return np.asarray(255 - np.minimum(values[:, :, : space.n].sum(axis=2), 255))
    return np.asarray(values[:, :, 0])
