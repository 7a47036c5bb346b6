"""Compares the picture of a page before all work with the picture after it: only the colours meant may have changed.

What is expected is a soft proof: the page as it was designed, sent by LittleCMS (through Pillow) to the printing
condition and back. What came is the finished page, its inks shown as that condition prints them.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from hotfolder.colour.condition import Condition
from hotfolder.colour.difference import ciede2000
from hotfolder.colour.profile import SRGB
from hotfolder.colour.transform import gray_to_black
from hotfolder.finding import Box
from hotfolder.pdf.render import Rendered
from hotfolder.pdf.verifying.screen_views import apply_to_colours, inks_to_screen

LONG_SIDE = 800  # pixels of a page's longer side when it is compared
REDUCE = 2  # pixels averaged each way before comparing: edges of two drawings never agree to the pixel
BLOCK = 5  # averaged pixels each way in which a place is judged
_NEUTRAL = 6  # of 255: how far red, green and blue may be apart in what counts as gray
_INTENTS = {
    "perceptual": ImageCms.Intent.PERCEPTUAL,
    "relative": ImageCms.Intent.RELATIVE_COLORIMETRIC,
    "saturation": ImageCms.Intent.SATURATION,
    "absolute": ImageCms.Intent.ABSOLUTE_COLORIMETRIC,
}

_EDGE = 0.12  # share of an edge's contrast that drawing it explains (measured on real posters)
_SAME = 0.5  # differences of Lab below this need no exact figure
_STEPS = np.arange(256) / 255
_LINEAR = np.where(_STEPS <= 0.04045, _STEPS / 12.92, ((_STEPS + 0.055) / 1.055) ** 2.4)
_D50 = np.array([0.9642, 1.0, 0.8249])
_TO_XYZ = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)

Differences = NDArray[np.float64]


@dataclass(frozen=True)
class Difference:
    """How far a page's picture is from what was meant, in CIEDE2000."""

    mean: float
    share: float  # of the area, 0..1, that differs by more than the limit asked for
    worst: float  # mean over the worst place, edges discounted
    box: Box  # the worst place, in the page's user space


def compare_pages(before: Rendered, after: Rendered, condition: Condition, limit: float) -> Difference:
    """Compare two drawings of the same area. `limit`: from which CIEDE2000 on a place counts as different."""
    found, slack = differences(before.picture, after.picture, condition)
    beyond = np.maximum(found - slack, 0)
    worst, box = worst_place(beyond, before)
    return Difference(mean=float(found.mean()), share=float((beyond > limit).mean()), worst=worst, box=box)


def worst_place(found: Differences, view: Rendered) -> tuple[float, Box]:
    """The largest mean over a place (BLOCK averaged pixels each way), and its box in the page's user space."""
    rows, columns = (max(1, size // BLOCK) for size in found.shape)
    high, wide = found.shape[0] // rows, found.shape[1] // columns
    blocks = found[: high * rows, : wide * columns].reshape(rows, high, columns, wide).mean(axis=(1, 3))
    row, column = divmod(int(blocks.argmax()), columns)
    across, down = view.picture.width / columns, view.picture.height / rows
    place = (column * across, row * down, (column + 1) * across, (row + 1) * down)
    return float(blocks.max()), view.box(*place)


def prepare(condition: Condition) -> None:
    """Make the conversions that every comparison for this condition needs."""
    _to_inks(condition)
    inks_to_screen(condition)
    inks_to_screen(condition, many=True)


def differences(before: Image.Image, after: Image.Image, condition: Condition) -> tuple[Differences, Differences]:
    """CIEDE2000 of each place to the nearest of what may come of it, and how much of it an edge explains.

    Colours that were converted come as their soft proof; inks come as they were; gray may come as black ink alone.
    Along an edge the drawing mixes two colours, and the proof of a mixture is not the mixture of the proofs.
    """
    if before.size != after.size:
        after = after.resize(before.size, Image.Resampling.BOX)
    proof = _proof(before, condition)
    came = _lab(after)
    nearest = _lab(before)
    for other in (_lab(proof), _lab(_black_only(before, proof, condition))):
        closer = ((other - came) ** 2).sum(axis=2) < ((nearest - came) ** 2).sum(axis=2)
        nearest[closer] = other[closer]
    found = np.sqrt(((nearest - came) ** 2).sum(axis=2))
    slack = np.zeros_like(found)
    apart = found > _SAME
    found[apart] = ciede2000(nearest[apart], came[apart])
    slack[apart] = _contrast(nearest, apart) * _EDGE
    return found, slack


def _contrast(lab: Differences, where: NDArray[np.bool_]) -> Differences:
    """How far the colours around each of these places are apart."""
    wide = np.pad(lab, ((1, 1), (1, 1), (0, 0)), mode="edge")
    rows, columns = np.nonzero(where)
    around = np.stack([wide[rows + down, columns + right] for down in range(3) for right in range(3)])
    return np.asarray(np.sqrt(((around.max(axis=0) - around.min(axis=0)) ** 2).sum(axis=1)))


def _lab(picture: Image.Image) -> Differences:
    """Lab (D50) of the averaged picture: IEC 61966-2-1 with the primaries adapted to D50 by Bradford."""
    xyz = _LINEAR[np.asarray(picture.reduce(min(REDUCE, *picture.size)))] @ _TO_XYZ.T / _D50
    root = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    x, y, z = root[..., 0], root[..., 1], root[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def _black_only(before: Image.Image, proof: Image.Image, condition: Condition) -> Image.Image:
    """The proof with everything gray in the design shown in the tone that black ink alone gives it."""
    pixels = np.asarray(before)
    red, green, blue = pixels[..., 0], pixels[..., 1], pixels[..., 2]
    spread = np.maximum(np.maximum(red, green), blue) - np.minimum(np.minimum(red, green), blue)
    out = np.array(proof)
    gray = spread <= _NEUTRAL
    out[gray] = _black_tones(condition)[green[gray]]
    return Image.fromarray(out, "RGB")


@lru_cache(maxsize=8)
def _black_tones(condition: Condition) -> NDArray[np.uint8]:
    inks = gray_to_black(SRGB, condition).colours(np.linspace(0, 1, 256)[:, None])
    return np.round(apply_to_colours(inks_to_screen(condition), "CMYK", inks) * 255).astype(np.uint8)


def _proof(picture: Image.Image, condition: Condition) -> Image.Image:
    """The sRGB picture sent to the condition's inks and back."""
    inks = ImageCms.applyTransform(picture, _to_inks(condition))
    proof = ImageCms.applyTransform(inks, inks_to_screen(condition, many=True)) if inks is not None else None
    assert proof is not None
    return proof


@lru_cache(maxsize=8)
def _to_inks(condition: Condition) -> ImageCms.ImageCmsTransform:
    compensate = ImageCms.Flags.BLACKPOINTCOMPENSATION if condition.black_point_compensation else ImageCms.Flags.NONE
    return ImageCms.buildTransform(
        io.BytesIO(SRGB.data),
        io.BytesIO(condition.profile.read_bytes()),
        "RGB",
        "CMYK",
        renderingIntent=_INTENTS[condition.intent],
        flags=compensate,
    )
