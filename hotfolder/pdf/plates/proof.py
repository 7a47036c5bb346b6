"""The proof from plates: all inks together, shown on a screen as the printing condition prints them."""

import io
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from hotfolder.colour.condition import Condition
from hotfolder.colour.profile import SRGB
from hotfolder.pdf.mappings.to_plates import PROCESS
from hotfolder.pdf.plates.plates import Plates


def proof_picture(plates: Plates, condition: Condition, *, paper: bool = False) -> Image.Image:
    """Plates through the output profile to sRGB (IEC 61966-2-1), spot inks by what stands in for them.

    Bare paper is white and the darkest black is black; with `paper`, both look as they do on the condition's paper.
    A screen shows it only as well as it is calibrated; a signed proof decides.
    """
    inks = Image.fromarray(process_inks(plates), "CMYK")
    shown = ImageCms.applyTransform(inks, _to_screen(condition, paper))
    assert shown is not None
    return shown


def prepare(condition: Condition) -> None:
    """Make the conversion that every proof for this condition needs."""
    _to_screen(condition, False)


def process_inks(plates: Plates) -> NDArray[np.uint8]:
    """(rows, columns, 4) of 0 to 255: the process inks, with each spot ink's stand-in printed over them."""
    found = np.stack([plates.coverage[ink] for ink in PROCESS], axis=-1)
    for ink, tints in plates.stand_ins.items():
        plate = plates.coverage[ink]
        if plate.any():
            bare = 255 - np.round(np.clip(tints, 0, 1) * 255).astype(np.uint16)[plate]
            found = (255 - (255 - found) * bare // 255).astype(np.uint8)
    return found


@lru_cache(maxsize=8)
def _to_screen(condition: Condition, paper: bool) -> ImageCms.ImageCmsTransform:
    intent = ImageCms.Intent.ABSOLUTE_COLORIMETRIC if paper else ImageCms.Intent.RELATIVE_COLORIMETRIC
    return ImageCms.buildTransform(
        io.BytesIO(condition.profile.read_bytes()),
        io.BytesIO(SRGB.data),
        "CMYK",
        "RGB",
        renderingIntent=intent,
        flags=ImageCms.Flags.NONE if paper else ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
