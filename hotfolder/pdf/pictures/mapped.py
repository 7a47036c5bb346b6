"""Takes pictures through conversions that no profile describes (inks, Lab, tables), each different colour once."""

from collections.abc import Callable, Iterator

import numpy as np
import pyvips
from numpy.typing import NDArray

from hotfolder.pdf.pictures.feeding import SMALL, fed, in_memory, strips
from hotfolder.pdf.values.spaces import Floats, Space

_MOST_PLACES = 2**24  # of a table that holds every colour there can be: three channels of 8 bits
_AT_ONCE = 2**18  # colours converted at a time
Samples = NDArray[np.integer]
_Convert = Callable[[Samples], Samples]  # different colours (n, bands) to (n, target's bands)


def map_rows(image: pyvips.Image, space: Space, target: Space, colours: Callable[[Floats], Floats]) -> pyvips.Image:
    """Any picture through any conversion of numbers, strip by strip, to the target's bands in the same depth."""
    bits = depth_of(image)
    most = 2.0**bits - 1
    low, high = np.array(space.ranges(bits)).T

    def convert(flat: Samples) -> Samples:
        values = flat.astype(np.float64) if space.kind == "Indexed" else low + flat / most * (high - low)
        return np.round(np.clip(colours(values), 0, 1) * most).astype(flat.dtype)

    convert(np.zeros((1, image.bands), np.uint8 if bits == 8 else np.uint16))  # what can't be converted, says so here
    mapped = _tabled if 2 ** (bits * image.bands) <= _MOST_PLACES else _sorted
    made = (rows.reshape(-1, image.width, target.n) for rows in mapped(image, target.n, convert))
    if image.width * image.height * max(image.bands, target.n) <= SMALL:
        return in_memory(np.concatenate(list(made)))
    blocks = (rows.astype(rows.dtype.newbyteorder(">")).tobytes() for rows in made)
    return fed(blocks, image.width, image.height, target.n, bits)


def in_numbers(image: pyvips.Image, space: Space) -> pyvips.Image:
    """The picture's samples as the numbers that they stand for, in bands of floats."""
    most = 2.0 ** depth_of(image) - 1
    ranges = space.ranges(depth_of(image))
    return image.linear([(high - low) / most for low, high in ranges], [low for low, _ in ranges])


def depth_of(image: pyvips.Image) -> int:
    return 8 if image.format == "uchar" else 16


def _tabled(image: pyvips.Image, n: int, convert: _Convert) -> Iterator[Samples]:
    """With a table of all colours there can be, filled in as they come."""
    bits, bands = 8 if image.format == "uchar" else 16, image.bands
    known = np.zeros(2 ** (bits * bands), np.bool_)
    table = np.zeros((len(known), n), np.uint8 if bits == 8 else np.uint16)
    for pixels in strips(image):
        flat = pixels.reshape(-1, bands)
        keys = flat[:, 0].astype(np.uint32)
        for band in range(1, bands):
            keys |= flat[:, band].astype(np.uint32) << np.uint32(bits * band)
        new = np.unique(keys[~known[keys]])
        for at in range(0, len(new), _AT_ONCE):
            part = new[at : at + _AT_ONCE]
            split = [part >> np.uint32(bits * band) & np.uint32(2**bits - 1) for band in range(bands)]
            table[part] = convert(np.stack(split, axis=1).astype(table.dtype))
        known[new] = True
        yield table[keys]


def _sorted(image: pyvips.Image, n: int, convert: _Convert) -> Iterator[Samples]:
    """For more kinds of colours than a table could hold: those of a strip are sorted."""
    for pixels in strips(image):
        for at in range(0, len(pixels), step := max(1, _AT_ONCE // image.width)):
            flat = pixels[at : at + step].reshape(-1, image.bands)
            rows = np.ascontiguousarray(flat).view(np.dtype((np.void, flat.dtype.itemsize * image.bands))).ravel()
            _, first, back = np.unique(rows, return_index=True, return_inverse=True)
            yield convert(flat[first])[back.ravel()]
