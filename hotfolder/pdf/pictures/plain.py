"""Reads pictures whose data is plain samples, packed without loss or not at all, row by row (ISO 32000-1 8.9.3)."""

import zlib
from collections.abc import Iterator
from typing import Literal

import numpy as np
import pyvips
from numpy.typing import NDArray
from pikepdf import Dictionary, Stream

from hotfolder.pdf.objects import stream_bytes, whole
from hotfolder.pdf.pictures.facts import FAX, MOST_DECODED, Facts, last_parameters, undressed
from hotfolder.pdf.pictures.feeding import LEFT, SMALL, fed, fed_filtered, in_memory
from hotfolder.pdf.values.spaces import Space
from hotfolder.pdf.walk.outcome import CannotConvert

_BLOCK = 2**20  # bytes unpacked at a time
Prediction = Literal["none", "left", "png", "other"]


def read_plain(picture: Stream, space: Space, facts: Facts, careful: bool) -> pyvips.Image:
    """The picture with space.n bands of 8 or 16 bits. `careful`: the whole data is looked through first, so that what
    is wrong with it is told exactly; else it may show only while the picture is read."""
    if facts.coding in FAX:
        raise CannotConvert(f"its coding ({facts.coding}) can't be taken apart here")
    n, bits = space.n, facts.bits
    row = (facts.width * n * bits + 7) // 8
    kind = _prediction(picture, facts, n)
    if facts.coding != "FlateDecode" or kind == "other" or row * facts.height <= SMALL:
        return _held(picture, space, facts, row)
    data = undressed(picture)
    if kind == "png" and not careful:
        return fed_filtered(data, facts.width, facts.height, n, bits)
    coded = row + (kind == "png")
    if careful:
        for _ in _inflated(data, coded, facts.height):
            pass
    blocks = _inflated(data, coded, facts.height)
    if bits < 8:
        return fed(_unpacked(blocks, row, space, facts), facts.width, facts.height, n, 8)
    filtered = {"none": 0, "left": LEFT, "png": None}[kind]
    return fed(blocks, facts.width, facts.height, n, bits, filtered)


def _prediction(picture: Stream, facts: Facts, n: int) -> Prediction:
    """How rows are predicted; "other" where it is not done sample by sample as the picture has them."""
    found = last_parameters(picture)
    if not isinstance(found, Dictionary) or (predictor := whole(found.get("/Predictor"), 1)) < 2:
        return "none"
    said = [whole(found.get(key), least) for key, least in (("/Colors", 1), ("/BitsPerComponent", 8), ("/Columns", 1))]
    if said != [n, facts.bits, facts.width] or n > 4 or facts.bits < 8:
        return "other"
    if predictor == 2:
        return "left" if facts.bits == 8 else "other"  # PNG's differences are of bytes, TIFF's of samples
    return "png" if predictor >= 10 else "other"


def _held(picture: Stream, space: Space, facts: Facts, row: int) -> pyvips.Image:
    """By qpdf, which undoes every filter, but only on the data as a whole."""
    if row * facts.height > MOST_DECODED:
        raise CannotConvert("it is too large to be held in memory")
    raw = stream_bytes(picture)
    _check_size(len(raw), row * facts.height)
    if facts.bits == 8:
        return pyvips.Image.new_from_memory(raw, facts.width, facts.height, space.n, "uchar")
    shape = (-1, facts.width, space.n)
    if facts.bits < 8 and row * facts.height <= SMALL:
        return in_memory(np.frombuffer(b"".join(_unpacked(iter([raw]), row, space, facts)), np.uint8).reshape(shape))
    step = max(1, _BLOCK // row) * row
    blocks = (raw[at : at + step] for at in range(0, row * facts.height, step))
    if facts.bits < 8:
        return fed(_unpacked(blocks, row, space, facts), facts.width, facts.height, space.n, 8)
    if row * facts.height > SMALL:
        return fed(blocks, facts.width, facts.height, space.n, 16)
    return in_memory(np.frombuffer(raw, ">u2", row * facts.height // 2).reshape(shape).astype(np.uint16))


def _check_size(found: int, needed: int) -> None:
    if found < needed:
        raise CannotConvert(f"its data is cut short ({found} bytes of {needed})")


def _inflated(data: memoryview, row: int, height: int) -> Iterator[bytes]:
    """Blocks of whole rows; CannotConvert where the data can't be unpacked, or ends before the last row."""
    unpacker, waiting, left = zlib.decompressobj(), bytearray(), row * height
    pieces = (data[at : at + _BLOCK] for at in range(0, len(data), _BLOCK))
    while left:
        piece = unpacker.unconsumed_tail or next(pieces, memoryview(b""))
        try:
            out = unpacker.decompress(piece, _BLOCK)
        except zlib.error as fault:
            raise CannotConvert("its data is damaged and can't be unpacked") from fault
        if not out and (unpacker.eof or not len(piece)):
            _check_size(row * height - left + len(waiting), row * height)
        waiting += out
        if size := min(len(waiting) // row * row, left):
            yield bytes(waiting[:size])
            left -= size
            del waiting[:size]


def _unpacked(blocks: Iterator[bytes], row: int, space: Space, facts: Facts) -> Iterator[bytes]:
    """Rows of 1, 2 or 4 bits as whole bytes: scaled up to 255, but places in a table as they are."""
    scale = 1 if space.kind == "Indexed" else 255 // (2**facts.bits - 1)
    for block in blocks:
        packed = np.frombuffer(block, np.uint8, len(block) // row * row).reshape(-1, row)[: facts.height]
        yield (unpack_rows(packed, facts.bits, facts.width * space.n) * np.uint8(scale)).tobytes()


def unpack_rows(packed: NDArray[np.uint8], bits: int, count: int) -> NDArray[np.uint8]:
    """Rows of packed samples of 1, 2 or 4 bits to one byte each, high bits first."""
    places = [(packed >> shift) & (2**bits - 1) for shift in range(8 - bits, -1, -bits)]
    return np.stack(places, axis=2).reshape(len(packed), -1)[:, :count].copy()
