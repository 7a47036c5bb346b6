"""Converted pictures are drawn alike by PDFium, poppler and Ghostscript, also those whose coded data was kept."""

from __future__ import annotations

import base64
import io
import shutil
import subprocess
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from pikepdf import Array, Name
from PIL import Image
from sheets import CODERS, Sheet, inked, jpeg, lcms, smooth

SIDE = 128
COLOURS = np.array([[[200, 30, 60], [20, 120, 210]]], np.uint8)  # of the samples 0 and 1
POPPLER = pytest.mark.skipif(not shutil.which("pdftoppm"), reason="poppler is not installed")
GHOSTSCRIPT = pytest.mark.skipif(not shutil.which("gs"), reason="Ghostscript is not installed")
Drawn = NDArray[np.int16]


def by_poppler(path: Path) -> Drawn:
    done = subprocess.run(["pdftoppm", "-r", "72", "-aa", "no", str(path)], check=True, capture_output=True)
    return np.asarray(Image.open(io.BytesIO(done.stdout)).convert("RGB")).astype(np.int16)


def by_ghostscript(path: Path) -> Drawn:
    out = path.with_suffix(".tif")
    order = ["gs", "-q", "-dBATCH", "-dNOPAUSE", "-dSAFER", "-r72", "-sDEVICE=tiff32nc", f"-sOutputFile={out}"]
    subprocess.run([*order, str(path)], check=True, capture_output=True)
    with Image.open(out) as opened:
        return np.asarray(opened).astype(np.int16)


READERS = [pytest.param(by_poppler, marks=POPPLER), pytest.param(by_ghostscript, marks=GHOSTSCRIPT)]


def bilevel() -> NDArray[np.uint8]:
    y, x = np.mgrid[0:SIDE, 0:SIDE] - SIDE / 2
    return (x**2 + y**2 + 20 * x * np.sin(y / 5) < SIDE**2 / 6).astype(np.uint8)


def fax(coding: str) -> bytes:
    """The code that libtiff writes, taken out of its TIFF: its 0 is coded as white, which a PDF reads as 1."""
    out = io.BytesIO()
    Image.fromarray(bilevel() == 0).save(out, "TIFF", compression=coding, tiffinfo={278: SIDE})
    with Image.open(io.BytesIO(out.getvalue())) as opened:
        (at,), (size,) = opened.tag_v2[273], opened.tag_v2[279]
    return out.getvalue()[at : at + size]


def jbig2() -> bytes:
    """A page with one generic region in T.6 code (ITU-T T.88 7.4.6); 1 is black there, which a PDF reads as 0."""
    size = SIDE.to_bytes(4, "big") * 2

    def segment(number: int, kind: int, data: bytes) -> bytes:
        return number.to_bytes(4, "big") + bytes([kind, 0, 1]) + len(data).to_bytes(4, "big") + data

    return segment(0, 48, size + bytes(11)) + segment(1, 38, size + bytes(9) + b"\1" + fax("group4"))


def parameters(text: str) -> str:
    return f"/DecodeParms << {text} /Columns {SIDE} /Rows {SIDE} >>"


# Data, dictionary entries, and whether the entries turn the samples round.
ONE_BIT: dict[str, tuple[Callable[[], bytes], str, bool]] = {
    "T.6": (lambda: fax("group4"), "/Filter /CCITTFaxDecode " + parameters("/K -1"), False),
    "T.6, black is 1": (lambda: fax("group4"), "/Filter /CCITTFaxDecode " + parameters("/K -1 /BlackIs1 true"), True),
    "T.6, Decode": (lambda: fax("group4"), "/Decode [1 0] /Filter /CCITTFaxDecode " + parameters("/K -1"), True),
    "T.4": (lambda: fax("group3"), "/Filter /CCITTFaxDecode " + parameters("/K 0 /EndOfLine true"), False),
    "T.4, rows on bytes": (
        lambda: fax("tiff_ccitt"), "/Filter /CCITTFaxDecode " + parameters("/K 0 /EncodedByteAlign true"), False,
    ),
    "85 of T.6": (
        lambda: base64.a85encode(fax("group4")) + b"~>",
        f"/Filter [/ASCII85Decode /CCITTFaxDecode] /DecodeParms [null << /K -1 /Columns {SIDE} >>]", False,
    ),
    "JBIG2": (jbig2, "/Filter /JBIG2Decode", False),
    "deflated": (lambda: zlib.compress(np.packbits(bilevel(), axis=1).tobytes()), "/Filter /FlateDecode", False),
}  # fmt: skip


@pytest.mark.parametrize("read", READERS)
@pytest.mark.parametrize("case", ONE_BIT)
def test_one_bit_keeps_its_code_and_gets_new_colours(case: str, read: Callable[[Path], Drawn], tmp_path: Path) -> None:
    """A table over a screen's colours becomes one over inks; the coded data stays to its last byte."""
    data, entries, turned = ONE_BIT[case]
    sheet = Sheet()
    space = Array([Name.Indexed, Name.DeviceRGB, 1, COLOURS.tobytes()])
    sheet.put(sheet.image(data(), space, SIDE, SIDE, 1, entries))
    assert sheet.walk().leftovers == []
    assert sheet.now.read_raw_bytes() == data()
    places = 1 - bilevel() if turned else bilevel()
    wanted = inked(lcms(COLOURS, exact=True)[0][places])
    assert abs(sheet.drawn() - wanted.drawn()).max() <= 3  # by PDFium, which makes two of one unit of ink
    alike(sheet, wanted, read, tmp_path)


@pytest.mark.parametrize("read", READERS)
@pytest.mark.parametrize("coding", ["none", "TIFF", "deflated", "85", "LZW", "run length", "JPEG", "large"])
def test_pictures_are_drawn_alike(coding: str, read: Callable[[Path], Drawn], tmp_path: Path) -> None:
    sheet, pixels = Sheet(), smooth(3, SIDE)
    data, entries = pixels.tobytes(), ""
    if coding == "JPEG":
        data, entries = jpeg(pixels), "/Filter /DCTDecode"
    elif coding == "large":
        pixels = pixels.repeat(10, 0).repeat(10, 1)
        data, entries = zlib.compress(pixels.tobytes()), "/Filter /FlateDecode"
    else:
        data, entries = CODERS[coding](data, SIDE * 3, 3, 8, SIDE)
    sheet.put(sheet.image(data, "/DeviceRGB", pixels.shape[1], pixels.shape[0], 8, entries))
    assert sheet.walk().leftovers == []
    wanted = inked(lcms(pixels))
    assert abs(sheet.drawn() - wanted.drawn()).mean() <= (2 if coding == "JPEG" else 1)
    alike(sheet, wanted, read, tmp_path, 8 if coding == "JPEG" else 2)


@pytest.mark.parametrize("read", READERS)
def test_masked_pictures_are_drawn_alike(read: Callable[[Path], Drawn], tmp_path: Path) -> None:
    sheet, pixels = Sheet(), smooth(3, SIDE)
    key = (pixels < 120).all(axis=2)
    sheet.put(sheet.image(pixels.tobytes(), "/DeviceRGB", SIDE, SIDE, 8, "/Mask [0 119 0 119 0 119]"))
    sheet.walk()
    inks = lcms(pixels).copy()
    inks[key] = 0
    alike(sheet, inked(inks), read, tmp_path)


def alike(sheet: Sheet, wanted: Sheet, read: Callable[[Path], Drawn], folder: Path, limit: int = 2) -> None:
    for name, one in (("converted", sheet), ("wanted", wanted)):
        one.pdf.save(folder / f"{name}.pdf")
    difference = abs(read(folder / "converted.pdf") - read(folder / "wanted.pdf"))
    assert np.percentile(difference, 99) <= limit
    assert difference.mean() <= limit / 2
