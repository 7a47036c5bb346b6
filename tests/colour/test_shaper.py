"""The sums for screen and gray profiles follow ICC.1:2010, whichever way a profile writes its tone curve."""

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from hotfolder.colour.pcs import D50, lab_to_xyz, move_black, xyz_to_lab
from hotfolder.colour.profile import SRGB, Profile, read_profile
from hotfolder.colour.shaper import media_white, shaper_xyz
from hotfolder.colour.transform import srgb_lab


def fixed(*values: float) -> bytes:
    return struct.pack(f">{len(values)}i", *(round(value * 65536) for value in values))


def parametric(kind: int, *numbers: float) -> bytes:
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + fixed(*numbers)


def sampled(*entries: int) -> bytes:
    return b"curv" + bytes(4) + struct.pack(f">I{len(entries)}H", len(entries), *entries)


def profile(space: str, **tags: bytes) -> Profile:
    """A profile written by hand: header, table of contents, tags."""
    table, body, start = b"", b"", 132 + 12 * len(tags)
    for name, content in tags.items():
        table += name.encode() + struct.pack(">II", start + len(body), len(content))
        body += content + bytes(-len(content) % 4)
    head = bytearray(128)
    head[0:4] = struct.pack(">I", start + len(body))
    head[8:12] = b"\x04\x20\x00\x00"
    head[12:24] = b"mntr" + space.encode() + b"XYZ "
    head[36:40] = b"acsp"
    head[68:80] = fixed(*D50)
    return read_profile(bytes(head) + struct.pack(">I", len(tags)) + table + body)


def gray(curve: bytes) -> Profile:
    return profile("GRAY", wtpt=b"XYZ " + bytes(4) + fixed(*D50), kTRC=curve)


X = np.linspace(0, 1, 101)
CURVES = {
    "identity": (sampled(), X),
    "gamma 2.2": (sampled(round(2.2 * 256)), X ** (563 / 256)),
    "table": (sampled(0, 16384, 65535), np.interp(X, [0, 0.5, 1], [0, 16384 / 65535, 1])),
    "type 0": (parametric(0, 1.8), X**1.8),
    "type 1": (parametric(1, 2.0, 1.25, -0.25), np.where(X >= 0.2, np.maximum(1.25 * X - 0.25, 0) ** 2, 0)),
    "type 2": (parametric(2, 2.0, 0.75, 0.125, 0.125), (0.75 * X + 0.125) ** 2 + 0.125),
    "type 3": (parametric(3, 2.0, 1, 0, 0.5, 0.25), np.where(X >= 0.25, X**2, 0.5 * X)),
    "type 4": (
        parametric(4, 2.0, 0.75, 0, 0.5, 0.25, 0.125, 0.0625),
        np.where(X >= 0.25, (0.75 * X) ** 2 + 0.125, 0.5 * X + 0.0625),
    ),
}


@pytest.mark.parametrize(("curve", "expected"), CURVES.values(), ids=CURVES)
def test_a_gray_curve(curve: bytes, expected: np.ndarray) -> None:
    xyz = shaper_xyz(gray(curve), X[:, None])
    assert xyz is not None
    assert xyz == pytest.approx(expected.clip(0, 1)[:, None] * D50, abs=1e-4)


@pytest.mark.parametrize(("curve", "expected"), CURVES.values(), ids=CURVES)
def test_a_gray_curve_as_littlecms_reads_it(curve: bytes, expected: np.ndarray) -> None:
    source = ImageCms.ImageCmsProfile(io.BytesIO(gray(curve).data))
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
    conversion = ImageCms.buildTransform(source, lab, "L", "LAB", 1, ImageCms.Flags.NOOPTIMIZE)
    steps = np.arange(256, dtype=np.uint8)
    seen = ImageCms.applyTransform(Image.frombytes("L", (256, 1), steps.tobytes()), conversion)
    assert seen is not None
    xyz = shaper_xyz(gray(curve), steps[:, None] / 255)
    assert xyz is not None
    theirs = np.frombuffer(seen.getchannel(0).tobytes(), np.uint8) / 2.55
    assert xyz_to_lab(xyz)[:, 0] == pytest.approx(theirs, abs=0.25)


@pytest.mark.parametrize(
    "curve",
    [sampled()[:10], sampled(1, 2, 3)[:-2], parametric(7, 1, 1), parametric(4, 1, 1), b"text" + bytes(20)],
    ids=["short", "fewer than told", "no such type", "too few numbers", "another type"],
)
def test_a_damaged_curve_is_no_curve(curve: bytes) -> None:
    assert shaper_xyz(gray(curve), X[:, None]) is None


def test_a_screen_with_white_at_l_100() -> None:
    assert srgb_lab([[1, 1, 1], [0, 0, 0]]) == pytest.approx(np.array([[100, 0, 0], [0, 0, 0]]), abs=0.01)
    assert media_white(SRGB) == pytest.approx(D50)


def test_a_profile_with_tables_is_left_to_littlecms() -> None:
    tables = profile("RGB ", A2B0=b"mft2" + bytes(60), rXYZ=b"XYZ " + bytes(16))
    assert shaper_xyz(tables, np.zeros((1, 3))) is None


def test_lab_and_xyz_there_and_back() -> None:
    lab = np.random.default_rng(5).uniform((0, -100, -100), (100, 100, 100), (1000, 3))
    assert xyz_to_lab(lab_to_xyz(lab)) == pytest.approx(lab, abs=1e-9)


def test_the_black_moves_and_the_white_stays() -> None:
    moved = move_black(np.array([D50 * 0.03, D50]), D50 * 0.03)
    assert moved == pytest.approx(np.array([D50 * 0, D50]))
