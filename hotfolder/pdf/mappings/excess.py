"""Finds CMYK with more ink than the paper takes."""

import numpy as np
import pyvips
from numpy.typing import NDArray

from hotfolder.colour.condition import Condition
from hotfolder.pdf.values.spaces import Floats

_ROUNDING = 0.01  # of one full ink: four inks rounded to 8 bits each
# A stray pixel of a coding with losses is no reason to separate a picture again. On a sheet of 24 x 36 inches this
# share is half a square centimetre (own choice, no published source).
_STRAY = 1e-4
_LARGE = 2**26  # bytes; more than that waits on disk


def exceeds(condition: Condition, inks: Floats) -> NDArray[np.bool_]:
    """Which of these inks (n, 4) in 0..1 are more in sum than the condition's limit."""
    return np.asarray(inks.sum(axis=1) > condition.ink_limit / 100 + _ROUNDING)


def picture_exceeds(condition: Condition, image: pyvips.Image) -> bool:
    """Whether more than stray pixels of a CMYK picture are over the limit. Reads all of it."""
    most = 255 if image.format == "uchar" else 65535
    total = image[0] + image[1] + image[2] + image[3]
    over = total > (condition.ink_limit / 100 + _ROUNDING) * most
    return float(over.avg()) / 255 > _STRAY


def rewindable(image: pyvips.Image) -> pyvips.Image:
    """The picture so that it can be read twice; a decoder gives its rows only once."""
    if image.width * image.height * image.bands * (1 if image.format == "uchar" else 2) < _LARGE:
        return image.copy_memory()
    kept = pyvips.Image.new_temp_file("%s.v")
    image.write(kept)
    return kept
