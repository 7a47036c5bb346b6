"""Takes apart what a picture's transparency is mixed with: colour keys, background colours, opacity in its own data."""

import zlib
from collections.abc import Iterator

import numpy as np
import pikepdf
import pyvips
from numpy.typing import NDArray
from pikepdf import Array, Name, Object, Stream

from hotfolder.pdf.objects import entry, numbers
from hotfolder.pdf.pictures.facts import Facts, read_facts
from hotfolder.pdf.pictures.feeding import strips
from hotfolder.pdf.pictures.reading import load
from hotfolder.pdf.values.spaces import GRAY, Space
from hotfolder.pdf.walk.outcome import CannotConvert


def without_matte(image: pyvips.Image, space: Space, mask: Stream, matte: list[float], careful: bool) -> pyvips.Image:
    """A picture whose edges were mixed with a background colour beforehand, as it was before (11.6.5.3): its mask then
    needs no Matte, whose colour could not be converted along. CannotConvert where picture and mask differ in size."""
    facts = read_facts(mask, GRAY)
    if (facts.width, facts.height) != (image.width, image.height):
        raise CannotConvert("it is mixed with a background colour by a mask of another size")
    most = 255.0 if image.format == "uchar" else 65535.0
    ground = [(m - low) / ((high - low) or 1) * most for m, (low, high) in zip(matte, space.ranges(8), strict=True)]
    return unmixed(image, load(mask, GRAY, facts, careful=careful), ground)


def unmixed(image: pyvips.Image, opacity: pyvips.Image, ground: list[float]) -> pyvips.Image:
    """The colours c of c' = ground + opacity * (c - ground), 8 or 16 bits; where nothing shows, the ground."""
    share = opacity.linear(1 / (255.0 if opacity.format == "uchar" else 65535.0), 0)
    pure = (image - ground) / (share == 0).ifthenelse(1.0, share) + ground
    return pure.rint().cast(image.format)


def key_stencil(pdf: pikepdf.Pdf, picture: Stream, space: Space, facts: Facts, careful: bool) -> Object | None:
    """For a picture with a colour-key mask (8.9.6.4) the stencil that hides the same pixels; None without such a mask.

    The key names samples as they are stored, before Decode.
    """
    key = entry(picture, "/Mask")
    if not isinstance(key, Array):
        return None
    limits = np.array(numbers(key, 2 * space.n)).reshape(-1, 2)
    step = 255 // (2**facts.bits - 1) if facts.bits < 8 and space.kind != "Indexed" else 1
    image = load(picture, space, facts, whole_range=False, careful=careful)
    return write_stencil(pdf, _hidden(image, limits, step), image.width, image.height)


def _hidden(image: pyvips.Image, limits: NDArray[np.float64], step: int) -> Iterator[NDArray[np.bool_]]:
    for pixels in strips(image):
        hidden = np.ones(pixels.shape[:2], np.bool_)
        for band, (low, high) in enumerate(limits):
            hidden &= (pixels[:, :, band] >= low * step) & (pixels[:, :, band] <= high * step)
        yield hidden


def write_stencil(pdf: pikepdf.Pdf, hidden: Iterator[NDArray[np.bool_]], width: int, height: int) -> Object:
    """An explicit mask (8.9.6.3): a set bit hides the pixel below it."""
    packer = zlib.compressobj()
    parts = [packer.compress(np.packbits(rows, axis=1).tobytes()) for rows in hidden]
    stream = Stream(pdf, b"".join([*parts, packer.flush()]))
    stream.Type, stream.Subtype, stream.Filter = Name.XObject, Name.Image, Name.FlateDecode
    stream.Width, stream.Height = width, height
    stream.ImageMask, stream.BitsPerComponent = True, 1
    return pdf.make_indirect(stream)
