"""Decodes a picture strip by strip and packs it for a PDF; only a few strips are in memory at a time."""

from __future__ import annotations

import zlib
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import pyvips
from numpy.typing import NDArray

from hotfolder.pdf.deflate import packed_block
from hotfolder.pdf.opening.picture_file import PictureFile, damaged, unusual
from hotfolder.pdf.opening.png import PngHead
from hotfolder.pdf.opening.tiff import TiffHead

Pixels = NDArray[np.integer]
_STRIP_BYTES = 4 * 2**20
_SUB = 1  # PNG filter: each sample as difference to the one to its left (ISO/IEC 15948 9.2)
_THREADS = 2


@dataclass
class Decoded:
    """A picture ready to be fetched. `see_through` is set while fetching, where a pixel lets the paper show."""

    image: pyvips.Image
    channels: int  # of colour
    bits: int  # as they will be written: 1, 8 or 16
    alpha: str = ""  # "plain", "premultiplied" or ""
    inks: bool = False
    see_through: bool = False


def decode(picture: PictureFile) -> Decoded:
    """Open a TIFF or PNG for decoding. Hold where the decoder can't read it."""
    loader = pyvips.Image.pngload if picture.kind == "png" else pyvips.Image.tiffload
    try:
        # libvips remembers what it loaded by name; another file may have stood under this one.
        image = loader(str(picture.path), access="sequential", fail_on="error", revalidate=True)
    except pyvips.Error as fault:
        raise damaged(_reason(fault)) from fault
    alpha, inks = _alpha(picture), isinstance(picture.head, TiffHead) and picture.head.inks
    channels = image.bands - bool(alpha)
    if image.format not in ("uchar", "ushort") or channels not in ((4,) if inks else (1, 3)):
        raise unusual(f"It was decoded to {image.bands} channels of the type {image.format}.")
    if (image.width, image.height) != (picture.head.width, picture.head.height):
        raise damaged("Its size isn't what it says at the beginning.")
    one_bit = picture.kind == "tiff" and picture.head.bits == 1 and image.bands == 1 and not _palette(picture)
    return Decoded(image, channels, 1 if one_bit else 16 if image.format == "ushort" else 8, alpha, inks)


def _alpha(picture: PictureFile) -> str:
    if isinstance(picture.head, PngHead):
        return "plain" if picture.head.see_through else ""
    return picture.head.alpha if isinstance(picture.head, TiffHead) else ""


def _palette(picture: PictureFile) -> bool:
    return isinstance(picture.head, TiffHead) and picture.head.palette


def packed(decoded: Decoded) -> Iterator[bytes]:
    """The pixels as one deflate stream of rows with PNG filters (ISO 32000-1 7.4.4.4, Predictor 15).

    Bits below 8 are packed, 16 written high byte first. What is see-through is laid on white paper.
    """
    return _deflated(_rows(decoded, strip) for strip in _strips(decoded))


def _strips(decoded: Decoded) -> Iterator[Pixels]:
    image = decoded.image
    kind: type[np.integer] = np.uint8 if image.format == "uchar" else np.uint16
    row = image.width * image.bands * np.dtype(kind).itemsize
    height = min(image.height, max(8, _STRIP_BYTES // row))
    region = pyvips.Region.new(image)
    for top in range(0, image.height, height):
        rows = min(height, image.height - top)
        try:
            raw = region.fetch(0, top, image.width, rows)
        except pyvips.Error as fault:
            raise damaged(_reason(fault)) from fault
        pixels: Pixels = np.frombuffer(raw, kind).reshape(rows, image.width, image.bands)
        yield on_white(decoded, pixels) if decoded.alpha else pixels


def on_white(decoded: Decoded, pixels: Pixels) -> Pixels:
    """The colours of see-through pixels as they look on white paper, the last band being what is not see-through."""
    colours, alpha = pixels[:, :, :-1], pixels[:, :, -1:]
    most = np.iinfo(pixels.dtype).max
    if alpha.min() == most:
        return colours
    decoded.see_through = True
    solid = alpha.astype(np.uint32)
    paper = 0 if decoded.inks else most
    own = colours.astype(np.uint32) if decoded.alpha == "premultiplied" else (colours * solid + most // 2) // most
    mixed: Pixels = np.minimum(own + paper * (most - solid) // most, most).astype(pixels.dtype)
    return mixed


def _rows(decoded: Decoded, pixels: Pixels) -> bytes:
    """Rows as a PDF stores them, each with the byte that names its filter before it."""
    if decoded.bits == 1:
        data = np.packbits(pixels[:, :, 0] > 127, axis=1)
        filtered = np.zeros((len(data), data.shape[1] + 1), np.uint8)
        filtered[:, 1:] = data
        return filtered.tobytes()
    step = decoded.channels * decoded.bits // 8
    big = np.ascontiguousarray(pixels, np.uint8 if decoded.bits == 8 else ">u2")
    data = big.reshape(len(big), -1).view(np.uint8)
    filtered = np.empty((len(data), data.shape[1] + 1), np.uint8)
    filtered[:, 0] = _SUB
    filtered[:, 1 : step + 1] = data[:, :step]
    np.subtract(data[:, step:], data[:, :-step], out=filtered[:, step + 1 :])
    return filtered.tobytes()


def _deflated(blocks: Iterable[bytes]) -> Iterator[bytes]:
    """One zlib stream (RFC 1950), its blocks packed side by side: each ends on a byte and refers to no other."""
    adler = 1
    yield b"\x78\x01"
    waiting: deque[Future[bytes]] = deque()
    with ThreadPoolExecutor(_THREADS, thread_name_prefix="pack") as pool:
        for block in blocks:
            adler = zlib.adler32(block, adler)
            waiting.append(pool.submit(packed_block, block))
            if len(waiting) > _THREADS:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    yield b"\x03\x00" + adler.to_bytes(4, "big")  # an empty last block


def _reason(fault: pyvips.Error) -> str:
    lines = [line.strip() for line in str(fault).splitlines() if line.strip()]
    return f"Its picture data is damaged ({(lines or ['unknown'])[-1][:120]})."
