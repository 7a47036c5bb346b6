"""Makes ICC profiles of the calibrated colour spaces that older PDFs describe with a few numbers (8.6.5.2, 8.6.5.3)."""

import struct

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.values.spaces import Space

_D50 = np.array([0.9642, 1.0, 0.8249])
# The Bradford matrix (ICC.1:2010 annex E): carries a colour seen under one white over to another.
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def calibrated_profile(space: Space) -> bytes:
    """A display profile (ICC.1:2010 8.3.3, 8.3.4) that means what a CalGray or CalRGB space means.

    ValueError where its numbers describe no colours. BlackPoint is not used: PDF readers ignore it.
    """
    white = np.array(space.white)
    if min(space.white) < 0 or white[1] <= 0 or min(space.gamma) <= 0 or max(space.gamma) > 30:
        raise ValueError(f"its {space.kind} numbers describe no colours")
    curves = [_curve(gamma) for gamma in space.gamma]
    if space.kind == "CalGray":
        return _profile(b"GRAY", [(b"kTRC", curves[0])])
    columns = np.array(space.matrix).reshape(3, 3) @ _adaptation(white / white[1]).T
    if not np.isfinite(columns).all() or abs(columns).max() > 100:
        raise ValueError(f"its {space.kind} numbers describe no colours")
    tags = [(letter + b"XYZ", _xyz(column)) for letter, column in zip((b"r", b"g", b"b"), columns, strict=True)]
    return _profile(
        b"RGB ", tags + [(letter + b"TRC", c) for letter, c in zip((b"r", b"g", b"b"), curves, strict=True)]
    )


def _adaptation(white: NDArray[np.float64]) -> NDArray[np.float64]:
    gains = (_BRADFORD @ _D50) / np.maximum(_BRADFORD @ white, 1e-6)
    return np.asarray(np.linalg.inv(_BRADFORD) @ np.diag(gains) @ _BRADFORD)


def _curve(gamma: float) -> bytes:
    """parametricCurveType 0 (10.16): exact to 1/65536, where the older curve type knows 1/256."""
    return b"para\0\0\0\0" + struct.pack(">HHi", 0, 0, round(gamma * 65536))


def _xyz(values: NDArray[np.float64]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(float(v) * 65536) for v in values))


def _profile(space: bytes, tags: list[tuple[bytes, bytes]]) -> bytes:
    words = "made of the PDF's own numbers".encode("utf-16-be")
    text = b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(words), 28) + words
    tags = [(b"desc", text), (b"cprt", text), (b"wtpt", _xyz(_D50)), *tags]
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for signature, data in tags:
        table += struct.pack(">4sII", signature, start + len(body), len(data))
        body += data.ljust((len(data) + 3) // 4 * 4, b"\0")
    header = struct.pack(">I4sI4s4s4s", start + len(body), b"none", 0x04200000, b"mntr", space, b"XYZ ")
    header += struct.pack(">6H4s", 2000, 1, 1, 0, 0, 0, b"acsp")
    header = header.ljust(64, b"\0") + struct.pack(">I", 1) + struct.pack(">3i", *(round(v * 65536) for v in _D50))
    return header.ljust(128, b"\0") + table + body
