"""Reads a PNG file chunk by chunk (ISO/IEC 15948), and checks its pixel data without unpacking it into memory."""

from __future__ import annotations

import io
import os
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import BinaryIO

from hotfolder.pdf.opening.exif import Directory, read_exif, usable_resolution

_PIECE = 1 << 20
_LARGEST_CHUNK = 2**31 - 1  # clause 5.3
_LARGEST_TEXT = 64 * 2**20  # of a chunk that is kept: profile, EXIF, palette
_MOST_CHUNKS = 1_000_000
_DEPTHS = {0: (1, 2, 4, 8, 16), 2: (8, 16), 3: (1, 2, 4, 8), 4: (8, 16), 6: (8, 16)}  # table 11.1
_CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
GRAY, RGB, PALETTE, GRAY_ALPHA, RGB_ALPHA = 0, 2, 3, 4, 6
_KEPT = frozenset((b"PLTE", b"tRNS", b"pHYs", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"eXIf", b"acTL"))
_SHORT = "It breaks off before the picture is complete."


@dataclass
class PngHead:
    """What stands before the pixel data. `primaries`: x and y of white, red, green, blue."""

    width: int
    height: int
    bits: int
    colour: int
    interlaced: bool
    chunks: dict[bytes, bytes] = field(default_factory=dict, repr=False)

    @property
    def channels(self) -> int:
        """Stored numbers of a pixel, a palette's index and alpha counted."""
        return _CHANNELS[self.colour]

    @property
    def row_bytes(self) -> int:
        """Bytes of a row, the byte that names its filter not counted."""
        return (self.width * self.channels * self.bits + 7) // 8

    @property
    def see_through(self) -> bool:
        return self.colour in (GRAY_ALPHA, RGB_ALPHA) or b"tRNS" in self.chunks

    @property
    def palette(self) -> bytes:
        return self.chunks.get(b"PLTE", b"")

    @property
    def animated(self) -> bool:
        return b"acTL" in self.chunks

    @property
    def says_srgb(self) -> bool:
        return b"sRGB" in self.chunks

    @property
    def exif(self) -> Directory:
        return read_exif(io.BytesIO(self.chunks.get(b"eXIf", b"")))

    @property
    def ppi(self) -> tuple[float, float] | None:
        values = self._numbers(b"pHYs", ">IIB")
        if not values or values[2] != 1:  # 11.3.5.3: only the metre is a unit
            return None
        return usable_resolution(values[0] * 0.0254, values[1] * 0.0254)

    @property
    def gamma(self) -> float | None:
        """The exponent that the samples were encoded with (about 1/2.2), or None."""
        values = self._numbers(b"gAMA", ">I")
        return values[0] / 100_000 if values and 1000 <= values[0] <= 1_000_000 else None

    @property
    def primaries(self) -> tuple[float, ...] | None:
        values = self._numbers(b"cHRM", ">8I")
        return tuple(value / 100_000 for value in values) if values else None

    @property
    def profile(self) -> bytes | None:
        """The embedded ICC profile; b"" where it can't be unpacked."""
        data = self.chunks.get(b"iCCP")
        if data is None:
            return None
        _, _, rest = data.partition(b"\0")
        try:
            return zlib.decompressobj().decompress(rest[1:], _LARGEST_TEXT)
        except zlib.error:
            return b""

    def _numbers(self, name: bytes, form: str) -> tuple[int, ...]:
        data = self.chunks.get(name, b"")
        return struct.unpack(form, data) if len(data) == struct.calcsize(form) else ()


def read_png(stream: BinaryIO) -> PngHead:
    """Everything before the pixel data. ValueError with one sentence where it is damaged."""
    chunks = _chunks(stream)
    name, length = next(chunks)
    data = _body(stream, name, length) if name == b"IHDR" and length == 13 else b""
    if not data:
        raise ValueError("It is damaged where its size should stand.")
    width, height, bits, colour, packing, filtering, interlace = struct.unpack(">IIBBBBB", data)
    if bits not in _DEPTHS.get(colour, ()) or packing or filtering or interlace > 1:
        raise ValueError("It is damaged where its kind of colour should stand.")
    head = PngHead(width, height, bits, colour, interlace == 1)
    for name, length in chunks:
        if name in (b"IDAT", b"IEND"):
            break
        if name in _KEPT:
            head.chunks.setdefault(name, _body(stream, name, length))
    palette = len(head.palette)
    if colour == PALETTE and (palette == 0 or palette % 3 or palette > 768):
        raise ValueError("Its table of colours is damaged.")
    return head


def checked_pixels(stream: BinaryIO, head: PngHead) -> Iterator[bytes]:
    """The packed pixel data piece by piece as it stands in the file, for writing it on unchanged.

    All of it is checked on the way: every chunk's sum, the packing, the number of rows, each row's filter. ValueError
    with one sentence as soon as something is wrong; interlaced data is not for this function.
    """
    unpacked = _Rows(head)
    for name, length in _chunks(stream):
        if name == b"IEND":
            return unpacked.finish()
        if name != b"IDAT":
            continue
        crc, left = zlib.crc32(name), length
        while left:
            piece = stream.read(min(_PIECE, left))
            if not piece:
                raise ValueError(_SHORT)
            left -= len(piece)
            crc = zlib.crc32(piece, crc)
            unpacked.take(piece)
            yield piece
        if stream.read(4) != crc.to_bytes(4, "big"):
            raise ValueError("Its picture data is damaged.")


class _Rows:
    """Unpacks pixel data to look at it, and forgets it."""

    def __init__(self, head: PngHead) -> None:
        self._packer = zlib.decompressobj()
        self._row = head.row_bytes + 1
        self._wanted = self._row * head.height
        self._seen = 0

    def take(self, piece: bytes) -> None:
        while piece and not self._packer.eof:
            try:
                data = self._packer.decompress(piece, _PIECE)
            except zlib.error as fault:
                raise ValueError("Its picture data is damaged.") from fault
            filters = data[-self._seen % self._row :: self._row]
            if filters and max(filters) > 4:  # clause 9.2
                raise ValueError("Its picture data is damaged.")
            self._seen += len(data)
            if self._seen > self._wanted:
                raise ValueError("Its picture data is damaged: there is more of it than the picture needs.")
            piece = self._packer.unconsumed_tail
        if piece and piece.strip(b"\0"):
            raise ValueError("Its picture data is damaged: there is more of it than the picture needs.")

    def finish(self) -> None:
        if self._seen < self._wanted or not self._packer.eof:
            raise ValueError(_SHORT)


def _chunks(stream: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """Name and length of each chunk, the stream standing at its body; ends with IEND."""
    size = os.fstat(stream.fileno()).st_size
    at = 8
    for _ in range(_MOST_CHUNKS):
        stream.seek(at)
        header = stream.read(8)
        if len(header) < 8:
            raise ValueError(_SHORT)
        length, name = struct.unpack(">I4s", header)
        at += length + 12
        if length > _LARGEST_CHUNK or at > size:
            raise ValueError(_SHORT)
        yield name, length
        if name == b"IEND":
            return
    raise ValueError("It is damaged: it has parts without end.")


def _body(stream: BinaryIO, name: bytes, length: int) -> bytes:
    if length > _LARGEST_TEXT:
        raise ValueError("It is damaged: one of its parts is far too large.")
    data = stream.read(length)
    if stream.read(4) != zlib.crc32(data, zlib.crc32(name)).to_bytes(4, "big"):
        raise ValueError("It is damaged at its beginning.")
    return data
