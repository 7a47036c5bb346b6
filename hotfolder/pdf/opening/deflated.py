"""Unpacks deflated data piece by piece, only to see whether it is whole (RFC 1950, 1951)."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

_PIECE = 1 << 20


@dataclass(frozen=True)
class Deflated:
    """How many bytes came out, and what is wrong with the data: "" where it is whole, else a reason without subject."""

    size: int
    fault: str = ""


def look_through(data: bytes, most: int) -> Deflated:
    """Unpack and throw away, at most `most` bytes. The check sum may be missing, as some programs leave it out."""
    unpacker, adler, size, at = zlib.decompressobj(-15), 1, 0, 2
    piece = data[2 : 2 + _PIECE]
    try:
        while piece and not unpacker.eof:
            out = unpacker.decompress(piece, _PIECE)
            adler, size = zlib.adler32(out, adler), size + len(out)
            if size > most:
                return Deflated(size, f"unpacks to more than {most:,} bytes")
            piece = unpacker.unconsumed_tail
            if not piece:
                at += _PIECE
                piece = data[at : at + _PIECE]
    except zlib.error:
        return Deflated(size, "can't be unpacked")
    if not unpacker.eof:
        return Deflated(size, "is cut short" if data.strip() else "")
    end = (unpacker.unused_data + data[at + _PIECE :])[:4]
    wrong = len(end) == 4 and int.from_bytes(end, "big") != adler
    return Deflated(size, "is damaged" if wrong else "")
