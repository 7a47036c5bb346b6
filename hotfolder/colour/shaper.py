"""Exact sums for the simple profiles of screens and gray pictures, where no table of colours is needed."""

import struct

import numpy as np
from numpy.typing import NDArray

from hotfolder.colour.pcs import D50
from hotfolder.colour.profile import Profile

Floats = NDArray[np.float64]

# ICC.1:2010 clause 10.16: how many parameters each parametric curve takes.
_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}


def shaper_xyz(profile: Profile, values: Floats) -> Floats | None:
    """Device values (n, channels) in 0..1 to media-relative XYZ (n, 3), or None where the profile has tables.

    LittleCMS at 16 bits puts such a profile on a coarse grid (0.1 to 0.4 Lab off); flat colours deserve better.
    Clauses F.2 (gray) and F.3 (three-component matrix) of ICC.1:2010.
    """
    if any(name.startswith(("A2B", "D2B")) for name, _, _ in profile.tags):
        return None
    with np.errstate(all="ignore"):  # a damaged curve can give anything, and is cut to 0..1 below
        return _shaped(profile, values)


def _shaped(profile: Profile, values: Floats) -> Floats | None:
    if profile.space == "GRAY" and profile.pcs == "XYZ ":
        tone = _curve(profile.tag("kTRC"), values[:, 0])
        return None if tone is None else tone[:, None] * D50
    if profile.space != "RGB " or profile.pcs != "XYZ ":
        return None
    columns = [_xyz(profile.tag(name)) for name in ("rXYZ", "gXYZ", "bXYZ")]
    tones = [_curve(profile.tag(name), values[:, i]) for i, name in enumerate(("rTRC", "gTRC", "bTRC"))]
    if any(part is None for part in (*columns, *tones)):
        return None
    return np.stack([t for t in tones if t is not None], axis=1) @ np.stack(
        [c for c in columns if c is not None], axis=0
    )


def media_white(profile: Profile) -> Floats:
    """XYZ of the bare medium (tag wtpt); a screen's white counts as D50, as LittleCMS does with both versions."""
    white = None if profile.device_class == "mntr" else _xyz(profile.tag("wtpt"))
    return D50 if white is None or not np.all(white > 0) else white


def _xyz(tag: bytes | None) -> Floats | None:
    if tag is None or tag[:4] != b"XYZ " or len(tag) < 20:
        return None
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536


def _curve(tag: bytes | None, values: Floats) -> Floats | None:
    if tag is None or len(tag) < 12:
        return None
    readers = {b"curv": _sampled, b"para": _parametric}
    reader = readers.get(tag[:4])
    tone = None if reader is None else reader(tag, values)
    return None if tone is None else np.clip(np.nan_to_num(tone), 0, 1)


def _sampled(tag: bytes, values: Floats) -> Floats | None:
    """Clause 10.5: no entry is the identity, one is a gamma (u8Fixed8), more are samples."""
    count = struct.unpack_from(">I", tag, 8)[0]
    if count > (len(tag) - 12) // 2:
        return None
    entries = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
    if count == 0:
        return values
    if count == 1:
        return np.asarray(values ** (entries[0] / 256))
    return np.interp(values, np.linspace(0, 1, count), entries / 65535)


def _parametric(tag: bytes, values: Floats) -> Floats | None:
    kind = struct.unpack_from(">H", tag, 8)[0]
    wanted = _PARAMETERS.get(kind)
    if wanted is None or len(tag) < 12 + 4 * wanted:
        return None
    numbers = np.array(struct.unpack_from(f">{wanted}i", tag, 12)) / 65536
    g, a, b, c, d, e, f = _filled(kind, numbers)
    raised = np.maximum(a * values + b, 0) ** g
    return np.where(values >= d, raised + e, c * values + f)


def _filled(kind: int, numbers: Floats) -> list[float]:
    """Each kind of parametric curve written as the fullest one: (aX+b)^g + e from d on, cX + f below."""
    n = [float(number) for number in numbers]
    if kind == 0:
        return [n[0], 1, 0, 0, 0, 0, 0]
    if kind in (1, 2):
        offset = n[3] if kind == 2 else 0
        return [*n[:3], 0, -n[2] / n[1] if n[1] else 0, offset, offset]
    return [*n, 0, 0] if kind == 3 else n
