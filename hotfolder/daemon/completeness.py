"""Tells whether a file looks whole or breaks off in the middle, by what its kind must end with.

This only decides about waiting: a file that looks whole may still be damaged, which the chain's steps find out.
"""

from __future__ import annotations

import os
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

_TAIL = 4096
_PADDING = 1 << 20  # some programs fill up the last block with zeros
_MOST_CHUNKS = 200_000
_MOST_FOLDERS = 1000
_MOST_FIELDS = 100_000  # of all directories, which may overlap
_MOST_STRIPS = 2_000_000  # of all directories
#: TIFF 6.0 section 2, field types -> bytes a value takes; 13 and 16-18 as in the BigTIFF design.
_TYPE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
_LINEARISED = re.compile(rb"/Linearized\s[^>]{0,200}?/L\s+(\d{1,19})")  # ISO 32000-1 F.3.3: L is the file's length
_OFFSETS = {273: 279, 324: 325}  # StripOffsets: StripByteCounts, TileOffsets: TileByteCounts


def looks_whole(path: Path) -> bool:
    """Whether the file ends as its kind must; True for kinds we do not know. OSError where it can't be read."""
    with _open(path) as stream:
        size = os.fstat(stream.fileno()).st_size
        head = stream.read(1024)
        if head.startswith(b"\xff\xd8\xff"):
            return b"\xff\xd9" in _tail(stream, size) or _jpeg_ends(stream)
        if head.startswith(b"\x89PNG\r\n\x1a\n"):
            return b"IEND\xaeB`\x82" in _tail(stream, size) or _png_ends(stream, size)
        if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
            return _tiff_fits(stream, size)
        if b"%PDF-" in head:  # ISO 32000-1 7.5.2; readers take it anywhere in the first 1024 bytes
            declared = _LINEARISED.search(head)  # such a file has an end mark near its beginning, too
            if declared and int(declared[1]) > size:
                return False
            tail = _tail(stream, size)
            return b"%%EOF" in tail and b"startxref" in tail  # ISO 32000-1 7.5.5
    return True


def _open(path: Path) -> BinaryIO:
    # A named pipe in the place of a file must not stop us; a link must not lead elsewhere.
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    return os.fdopen(os.open(path, flags), "rb")


def _tail(stream: BinaryIO, size: int) -> bytes:
    """The last bytes of the file, without the zeros and blanks it may be padded with."""
    stream.seek(max(0, size - _TAIL))
    tail = stream.read(_TAIL)
    if tail.strip(b"\0\r\n\t "):
        return tail
    stream.seek(max(0, size - _PADDING))
    return stream.read(_PADDING).rstrip(b"\0\r\n\t ")[-_TAIL:]


def _jpeg_ends(stream: BinaryIO) -> bool:
    """Whether an end of image follows the picture's data (ISO/IEC 10918-1 B.1.1); phones put more behind it.

    The segments before the data are stepped over, because a preview in them has an end of its own. In the data
    itself the two bytes can't stand by chance.
    """
    at = 2
    for _ in range(_MOST_CHUNKS):
        stream.seek(at)
        header = stream.read(4)
        if len(header) < 4 or header[0] != 0xFF:
            return False
        at += 2 + int.from_bytes(header[2:], "big")
        if header[1] == 0xDA:  # start of scan
            break
    stream.seek(at)
    before = b""
    while chunk := stream.read(_PADDING):
        if b"\xff\xd9" in before + chunk:
            return True
        before = chunk[-1:]
    return False


def _png_ends(stream: BinaryIO, size: int) -> bool:
    """Whether the chunks lead to an IEND inside the file (ISO/IEC 15948, 5.3); something may follow it."""
    at = 8
    for _ in range(_MOST_CHUNKS):
        stream.seek(at)
        header = stream.read(8)
        if len(header) < 8:
            return False
        at += 12 + int(struct.unpack(">I", header[:4])[0])
        if header[4:] == b"IEND":
            return at <= size
    return True


def _tiff_fits(stream: BinaryIO, size: int) -> bool:
    """Whether every directory and every strip or tile it names lies inside the file (TIFF 6.0 section 2)."""
    try:
        left = _MOST_STRIPS
        for order, big, fields in _directories(stream, size):
            if not _directory_fits(stream, size, order, big, fields):
                return False
            left -= sum(fields[tag][1] for tag in (*_OFFSETS, *_OFFSETS.values()) if tag in fields)
            if left < 0:  # enough was looked at; the chain's steps look at all of it
                return True
        return True
    except (struct.error, _Outside):
        return False


class _Outside(Exception):
    """Something lies behind the end of the file."""


def _go(stream: BinaryIO, size: int, at: int) -> None:
    """To a place in the file. A number from the file may lie anywhere, beyond what the system takes, too."""
    if at > size:
        raise _Outside
    stream.seek(at)


def _directories(stream: BinaryIO, size: int) -> Iterator[tuple[str, bool, dict[int, tuple[int, int, int]]]]:
    stream.seek(0)
    head = stream.read(16)
    order = "<" if head[:2] == b"II" else ">"
    big = head[2:4] in (b"+\0", b"\0+")
    at = struct.unpack(order + "Q", head[8:16])[0] if big else struct.unpack(order + "I", head[4:8])[0]
    seen: set[int] = set()
    looked_at = 0
    if at == 0:
        raise _Outside  # a writer that sets the first directory's place last has not come to its end
    while at and at not in seen and len(seen) < _MOST_FOLDERS and looked_at < _MOST_FIELDS:
        seen.add(at)
        fields, at, count = _read_directory(stream, size, at, order, big)
        looked_at += count
        yield order, big, fields


def _read_directory(
    stream: BinaryIO, size: int, at: int, order: str, big: bool
) -> tuple[dict[int, tuple[int, int, int]], int, int]:
    """tag -> (type, count, where its value field stands), the place of the next directory, and how many were read."""
    _go(stream, size, at)
    width, entry = (8, "HHQ") if big else (2, "HHI")
    count = struct.unpack(order + ("Q" if big else "H"), stream.read(width))[0]
    step, most = 20 if big else 12, min(count, 65_536)
    block = stream.read(most * step)
    fields = {}
    for index in range(most):
        tag, kind, values = struct.unpack_from(order + entry, block, index * step)
        fields[tag] = (kind, values, at + width + index * step + (12 if big else 8))
    _go(stream, size, at + width + count * step)
    following = struct.unpack(order + ("Q" if big else "I"), stream.read(8 if big else 4))[0]
    return fields, following, most


def _directory_fits(
    stream: BinaryIO, size: int, order: str, big: bool, fields: dict[int, tuple[int, int, int]]
) -> bool:
    for offsets, counts in _OFFSETS.items():
        if offsets in fields and counts in fields:
            starts = _values(stream, size, order, big, *fields[offsets])
            lengths = _values(stream, size, order, big, *fields[counts])
            if any(start + length > size for start, length in zip(starts, lengths, strict=False)):
                return False
    return True


def _values(stream: BinaryIO, size: int, order: str, big: bool, kind: int, count: int, at: int) -> tuple[int, ...]:
    width, room = _TYPE_BYTES.get(kind, 1), 8 if big else 4
    letter = {1: "B", 3: "H", 4: "I", 16: "Q"}.get(kind)
    if letter is None or count > _MOST_STRIPS:
        return ()
    _go(stream, size, at)
    if width * count > room:
        _go(stream, size, struct.unpack(order + ("Q" if big else "I"), stream.read(room))[0])
    return struct.unpack(f"{order}{count}{letter}", stream.read(width * count))
