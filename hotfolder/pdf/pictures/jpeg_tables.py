"""Reads what a JPEG says before its picture begins: how strongly it was compressed, and whether it comes in passes."""

from collections.abc import Iterator

import numpy as np

# The luminance table of ISO/IEC 10918-1 annex K.1, in the order of its rows.
_STANDARD = np.array([
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51,
    87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101,
    72, 92, 95, 98, 112, 100, 103, 99,
])  # fmt: skip


def jpeg_quality(data: bytes | memoryview) -> int | None:
    """1 to 100 on the scale most programs use (that of the Independent JPEG Group's library; from memory), by the first
    table of the file; None where there is none. Programs with tables of their own come out by how coarse these are."""
    return next((_quality(body) for kind, body in _segments(data) if kind == 0xDB), None)


def is_progressive(data: bytes | memoryview) -> bool:
    """Whether the picture comes in several passes, so that no part of it can be read without all of it."""
    return any(kind == 0xC2 for kind, _ in _segments(data))


def _segments(data: bytes | memoryview) -> Iterator[tuple[int, bytes]]:
    """Each segment before the coded picture: its kind and what is in it (ISO/IEC 10918-1 annex B)."""
    at = 2
    while 0 < at < len(data) - 4 and data[at] == 0xFF and data[at + 1] != 0xDA:
        size = int.from_bytes(data[at + 2 : at + 4], "big")
        yield data[at + 1], bytes(data[at + 4 : at + 2 + size])
        at += 2 + size


def _quality(table: bytes) -> int | None:
    wide = 2 if table[:1] and table[0] >> 4 else 1
    steps = np.frombuffer(table[1 : 1 + 64 * wide], ">u2" if wide == 2 else np.uint8)
    if len(steps) < 64 or not steps.all():
        return None
    scale = 100 * float(steps.sum()) / float(_STANDARD.sum())  # the order of the steps doesn't matter for their sum
    quality = (200 - scale) / 2 if scale <= 100 else 5000 / scale
    return max(1, min(100, round(quality)))
