"""Reads the directory of a TIFF file, and of the EXIF data in a JPEG or PNG, which is written alike (TIFF 6.0).

Hostile files are expected: offsets that lead nowhere, directories in a circle, counts of billions.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import BinaryIO

MOST_DIRECTORIES = 1000
_MOST_ENTRIES = 4096
_MOST_BYTES = 32 * 2**20  # of one value; strip lists of the largest pictures stay far below

# Field types of TIFF 6.0 section 2; 13 and 16 to 18 as BigTIFF has them.
_FORMATS = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 11: "f", 12: "d", 13: "I", 16: "Q", 17: "q", 18: "Q"}
_RATIONALS = {5: "I", 10: "i"}

WIDTH, HEIGHT, BITS, COMPRESSION, PHOTOMETRIC = 256, 257, 258, 259, 262
STRIP_OFFSETS, ORIENTATION, SAMPLES, STRIP_COUNTS = 273, 274, 277, 279
X_RESOLUTION, Y_RESOLUTION, RESOLUTION_UNIT = 282, 283, 296
TILE_OFFSETS, TILE_COUNTS, INK_SET, EXTRA_SAMPLES, SAMPLE_FORMAT = 324, 325, 332, 338, 339
SUBFILE, EXIF_DIRECTORY, COLOUR_SPACE = 254, 34665, 40961


class Directory(dict[int, tuple[float, ...]]):
    """The numbers of one directory by tag; text and other values are left out."""

    def number(self, tag: int, default: float = 0) -> float:
        values = self.get(tag, ())
        return values[0] if values else default

    def whole(self, tag: int, default: int = 0) -> int:
        return int(self.number(tag, default))


@dataclass(frozen=True)
class _Layout:
    order: str  # "<" or ">"
    big: bool

    @property
    def word(self) -> str:
        return self.order + ("Q" if self.big else "I")


def read_directories(stream: BinaryIO, most: int = MOST_DIRECTORIES) -> list[Directory]:
    """Every directory of a TIFF file in order. ValueError with one sentence where they make no sense."""
    layout, at = _header(stream)
    found: list[Directory] = []
    seen: set[int] = set()
    while at:
        if at in seen or len(found) >= most:
            raise ValueError("Its list of pages runs in a circle or never ends.")
        seen.add(at)
        directory, at = _directory(stream, layout, at)
        found.append(directory)
    if not found:
        raise ValueError("There is no picture in it.")
    return found


def read_exif(stream: BinaryIO) -> Directory:
    """The first directory of EXIF data with the entries of its EXIF part; empty where it is damaged."""
    try:
        layout, at = _header(stream)
        directory, _ = _directory(stream, layout, at)
        inner = directory.whole(EXIF_DIRECTORY)
        if inner:
            for tag, values in _directory(stream, layout, inner)[0].items():
                directory.setdefault(tag, values)
    except ValueError:
        return Directory()
    return directory


def orientation(directory: Mapping[int, tuple[float, ...]]) -> int:
    """1 to 8 as TIFF 6.0 section 8 has them; 1 where the tag is absent or nonsense."""
    values = directory.get(ORIENTATION, ())
    return int(values[0]) if values and values[0] in range(1, 9) else 1


def resolution(directory: Directory) -> tuple[float, float] | None:
    """Pixels per inch along the stored rows and columns, or None where the file doesn't say."""
    per_inch = {2: 1.0, 3: 2.54}.get(directory.whole(RESOLUTION_UNIT, 2))
    across, down = directory.number(X_RESOLUTION), directory.number(Y_RESOLUTION)
    return usable_resolution(across * per_inch, down * per_inch) if per_inch else None


def usable_resolution(across: float, down: float) -> tuple[float, float] | None:
    """The two numbers where they can be meant; None for zero, nonsense, or pixels four times as long as wide."""
    if not all(math.isfinite(value) and 1 <= value <= 100_000 for value in (across, down)):
        return None
    return (across, down) if 0.25 <= across / down <= 4 else None


def _header(stream: BinaryIO) -> tuple[_Layout, int]:
    stream.seek(0)
    head = stream.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 8:
        raise ValueError("Its beginning is damaged.")
    version = struct.unpack_from(order + "H", head, 2)[0]
    if version == 42:
        return _Layout(order, False), struct.unpack_from(order + "I", head, 4)[0]
    if version == 43 and len(head) == 16:
        return _Layout(order, True), struct.unpack_from(order + "Q", head, 8)[0]
    raise ValueError("Its beginning is damaged.")


def _directory(stream: BinaryIO, layout: _Layout, at: int) -> tuple[Directory, int]:
    (count,) = _numbers(stream, at, layout.order + ("Q" if layout.big else "H"))
    start, step = at + (8 if layout.big else 2), 20 if layout.big else 12
    if count > _MOST_ENTRIES:
        raise ValueError("Its list of properties is damaged.")
    found = Directory()
    for index in range(count):
        tag, values = _entry(stream, layout, start + index * step)
        found.setdefault(tag, values)
    try:
        (following,) = _numbers(stream, start + count * step, layout.word)
    except ValueError:
        following = 0  # the last directory of some files ends without the closing zero
    return found, following


def _entry(stream: BinaryIO, layout: _Layout, at: int) -> tuple[int, tuple[float, ...]]:
    tag, kind = _numbers(stream, at, layout.order + "HH")
    (count,) = _numbers(stream, at + 4, layout.word)
    code = _FORMATS.get(kind) or _RATIONALS.get(kind)
    if code is None:
        return tag, ()
    many = count * (2 if kind in _RATIONALS else 1)
    room = 8 if layout.big else 4
    place = at + 4 + room
    size = many * struct.calcsize("<" + code)
    if size > _MOST_BYTES:
        raise ValueError("Its list of properties is damaged.")
    if size > room:
        (place,) = _numbers(stream, place, layout.word)
    values: tuple[float, ...] = _numbers(stream, place, f"{layout.order}{many}{code}")
    if kind in _RATIONALS:
        values = tuple(a / b if b else math.nan for a, b in zip(values[::2], values[1::2], strict=True))
    return tag, values


def _numbers(stream: BinaryIO, at: int, form: str) -> tuple[int, ...]:
    size = struct.calcsize(form)
    if at > 2**62:
        raise ValueError("Its list of properties leads outside the file.")
    stream.seek(at)
    data = stream.read(size)
    if len(data) < size:
        raise ValueError("Its list of properties leads outside the file.")
    return struct.unpack(form, data)
