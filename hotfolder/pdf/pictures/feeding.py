"""Hands rows of pixels to libvips a few at a time and takes them from it, so that no large picture is held whole.

libvips reads pictures in one pass from a pipe if they are in a file format. PNG whose data is not packed carries
samples of 8 and 16 bits as a PDF has them, and undoes PNG's and TIFF's predictors on the way (ISO 15948; ISO 32000-1
7.4.4.4).
"""

import os
import struct
import zlib
from collections.abc import Iterator
from threading import Thread

import numpy as np
import pyvips
from numpy.typing import NDArray

from hotfolder.pdf.walk.outcome import CannotConvert

AT_ONCE = 2**20  # pixels taken at a time, at most
SMALL = 2**22  # bytes of samples that are simply held
DAMAGED = "its data is damaged or cut short"
_START = b"\x89PNG\r\n\x1a\n"
_COLOURS = {1: 0, 2: 4, 3: 2, 4: 6}  # PNG's colour types: gray, gray with alpha, RGB, RGB with alpha

LEFT = 1  # PNG's filter "Sub": each byte is the difference to its left neighbour, as TIFF's predictor has it


def fed(
    blocks: Iterator[bytes], width: int, height: int, bands: int, bits: int, filtered: int | None = 0
) -> pyvips.Image:
    """A picture to be read once, from top to bottom, of rows that come in blocks of whole ones, 8 or 16 bits.

    `filtered`: how all rows are coded (0 as they are, LEFT); None where each begins with a byte that says so. Coded
    rows can have up to four bands. Where the blocks end too early or raise ValueError, reading raises pyvips.Error.
    """
    columns, colour = (width, _COLOURS[bands]) if bands in _COLOURS else (width * bands, 0)
    parts = _packed(blocks, width * bands * bits // 8, filtered)
    image = _piped(_start(columns, height, bits, colour), parts, "truncated")
    return image if bands in _COLOURS else image.bandfold(factor=bands)


def fed_filtered(deflated: memoryview, width: int, height: int, bands: int, bits: int) -> pyvips.Image:
    """The same of deflated rows that each begin with PNG's filter byte: they are a PNG's data as they are."""
    parts = (part for parts in (_chunk(b"IDAT", deflated, True), _chunk(b"IEND", b"", True)) for part in parts)
    return _piped(_start(width, height, bits, _COLOURS[bands]), parts, "error")


def _piped(header: bytes, parts: Iterator[bytes | memoryview], fail_on: str) -> pyvips.Image:
    reader, writer = os.pipe()
    Thread(target=_pump, args=(writer, header, parts), daemon=True).start()
    source = pyvips.Source.new_from_descriptor(reader)
    os.close(reader)
    image = pyvips.Image.new_from_source(source, "", access="sequential", fail_on=fail_on, unlimited=True)
    return image.copy(interpretation="multiband")  # whatever PNG would call these channels


def in_memory(pixels: NDArray[np.generic]) -> pyvips.Image:
    """An array (rows, width, bands) of 8 or 16 bits as a picture."""
    height, width, bands = pixels.shape
    kind = "uchar" if pixels.dtype.itemsize == 1 else "ushort"
    return pyvips.Image.new_from_memory(np.ascontiguousarray(pixels).tobytes(), width, height, bands, kind)


def strips(image: pyvips.Image) -> Iterator[NDArray[np.integer]]:
    """The picture's rows from top to bottom as arrays (rows, width, bands), a few at a time, in one pass."""
    kind: type[np.integer] = np.uint8 if image.format == "uchar" else np.uint16
    step = max(1, AT_ONCE // image.width)
    try:
        for top in range(0, image.height, step):
            rows = min(step, image.height - top)
            # A region belongs to the thread that made it, and the next strip may be asked for by another.
            raw = pyvips.Region.new(image).fetch(0, top, image.width, rows)
            yield np.frombuffer(raw, kind).reshape(rows, image.width, image.bands)
    except pyvips.Error as fault:
        raise CannotConvert(DAMAGED) from fault


def _start(width: int, height: int, bits: int, colour: int) -> bytes:
    facts = struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0)
    return b"".join((_START, *_chunk(b"IHDR", facts, True)))


def _chunk(kind: bytes, data: bytes | memoryview, summed: bool = False) -> tuple[bytes | memoryview, ...]:
    """Our own data goes without check sums: libvips is told not to look at them."""
    total = zlib.crc32(data, zlib.crc32(kind)) if summed else 0
    return struct.pack(">I4s", len(data), kind), data, struct.pack(">I", total)


def _packed(blocks: Iterator[bytes], row: int, filtered: int | None) -> Iterator[bytes | memoryview]:
    packer = zlib.compressobj(0)
    for block in blocks:
        if filtered is None:
            yield from _chunk(b"IDAT", packer.compress(block))
            continue
        flat = np.frombuffer(block, np.uint8).reshape(-1, row)
        rows = np.empty((len(flat), row + 1), np.uint8)
        rows[:, 0], rows[:, 1:] = filtered, flat
        yield from _chunk(b"IDAT", packer.compress(rows.data))
    yield from _chunk(b"IDAT", packer.flush())
    yield from _chunk(b"IEND", b"", True)


def _pump(writer: int, header: bytes, parts: Iterator[bytes | memoryview]) -> None:
    """Writes until all is taken, or nobody reads any more."""
    try:
        _write(writer, header)
        for part in parts:
            _write(writer, part)
    except (BrokenPipeError, ValueError):
        pass  # the reader notices that rows are missing
    finally:
        os.close(writer)


def _write(writer: int, part: bytes | memoryview) -> None:
    left = memoryview(part)
    while left:
        left = left[os.write(writer, left) :]
