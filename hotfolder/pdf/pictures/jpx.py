"""Reads JPEG 2000 pictures (ISO 15444-1), with the colours, table and transparency that their data may hold."""

import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image

from hotfolder.pdf.pictures.facts import MOST_DECODED
from hotfolder.pdf.pictures.feeding import in_memory
from hotfolder.pdf.values.spaces import BY_CHANNELS, GRAY, RGB, Space
from hotfolder.pdf.walk.outcome import CannotConvert

_CUT = "its JPEG 2000 data is cut short"
_LISTED = {16: RGB, 17: GRAY, 18: RGB, 12: BY_CHANNELS[4]}  # I.5.3.3; 18 is sYCC, which its reader turns into RGB


@dataclass(frozen=True, slots=True)
class JpxFacts:
    """What the data says: components with their bits, how often it may be halved, and the boxes around it."""

    bits: tuple[int, ...]
    width: int
    height: int
    halvings: int
    reversible: bool
    boxes: dict[bytes, bytes]

    @property
    def channels(self) -> int:
        """Components, or those of the table that they point into."""
        table = self.boxes.get(b"pclr", b"")
        return table[2] if len(table) > 2 else len(self.bits)


def read_jpx_facts(data: bytes) -> JpxFacts:
    """ValueError where it is no JPEG 2000 data."""
    boxes = dict(_boxes(data, 0))
    code = boxes.get(b"jp2c", data)
    if code[:4] != b"\xff\x4f\xff\x51" or len(code) < 42:
        raise CannotConvert("its JPEG 2000 data has no beginning")
    left, top, right, bottom = (int.from_bytes(code[at : at + 4], "big") for at in (16, 20, 8, 12))
    count = int.from_bytes(code[40:42], "big")
    bits = tuple((code[42 + 3 * i] & 127) + 1 for i in range(count) if 42 + 3 * i < len(code))
    style = next((body for kind, body in _segments(code) if kind == 0x52 and len(body) >= 10), bytes(10))
    return JpxFacts(bits, right - left, bottom - top, style[5], style[9] == 1, boxes)


def jpx_space(data: bytes) -> Space:
    """The colours that the data declares (I.5.3.3), else those of its number of components; ValueError if unclear."""
    facts = read_jpx_facts(data)
    colour, channels = facts.boxes.get(b"colr"), facts.channels
    if colour is None:
        space = BY_CHANNELS.get(channels) or BY_CHANNELS.get(channels - 1)
    elif colour[:1] == b"\2":  # an ICC profile of its own
        profile = colour[3:]
        n = {b"GRAY": 1, b"RGB ": 3, b"CMYK": 4}.get(profile[16:20], 0)
        key = ("ICCBased", n, hashlib.sha256(profile).digest(), ())
        space = Space("ICCBased", n, key, base=BY_CHANNELS[n], profile=profile) if n else None
    else:
        space = _LISTED.get(int.from_bytes(colour[3:7], "big")) if colour[:1] == b"\1" else None
        if space is None:
            raise ValueError("its JPEG 2000 data declares its colours in a way that isn't handled")
    if space is None or channels not in (space.n, space.n + 1):
        raise ValueError("its JPEG 2000 data has an unusual number of channels")
    return space


def read_jpx(data: bytes, space: Space, shrink: int) -> pyvips.Image:
    """Colours, and behind them the opacity if the data holds one, of 8 or 16 bits. Whole in memory.

    By Pillow: libvips is built without this format. CannotConvert where it can't be read.
    """
    facts = read_jpx_facts(data)
    check_jpx(data)
    pixels = _decoded(data, facts, space, shrink)
    if pixels.dtype.kind not in "ui" or pixels.dtype.itemsize > 2:
        raise CannotConvert("its JPEG 2000 data has a bit depth that isn't handled")
    return in_memory(pixels if pixels.ndim == 3 else pixels[:, :, None])


def _decoded(data: bytes, facts: JpxFacts, space: Space, shrink: int) -> NDArray[np.generic]:
    try:
        with Image.open(io.BytesIO(data), formats=["JPEG2000"]) as opened:
            if opened.width * opened.height * 4 > MOST_DECODED:
                raise CannotConvert("it is too large to be held in memory")
            halvings = min(shrink.bit_length() - 1, facts.halvings)
            if halvings > 0 and opened.mode not in ("P", "PA"):
                opened.reduce = halvings  # type: ignore[method-assign, assignment]
            if opened.mode in ("P", "PA") and space.n != 1:
                return np.asarray(opened.convert("RGBA" if opened.mode == "PA" else "RGB"))
            pixels = np.asarray(opened)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as fault:
        raise CannotConvert(f"its JPEG 2000 data can't be read ({fault})") from fault
    return _full_range(pixels, facts.bits[0], space.kind == "Indexed")


def _full_range(pixels: NDArray[np.generic], bits: int, table: bool) -> NDArray[np.generic]:
    """Pillow moves samples of odd depths up to 8 or 16 bits by noughts: the largest must be the largest again."""
    room = 8 * pixels.dtype.itemsize
    if bits >= room or pixels.dtype.kind != "u":
        return pixels
    stored = pixels >> (room - bits)  # type: ignore[operator]
    return stored if table else (stored.astype(np.uint32) * (2**room - 1) // (2**bits - 1)).astype(pixels.dtype)  # type: ignore[no-any-return]


def check_jpx(data: bytes) -> None:
    """ValueError where the data ends before the last of its parts does, by their declared lengths (A.4.2)."""
    code = dict(_boxes(data, 0)).get(b"jp2c", data)
    at = 2
    while code[at : at + 2] != b"\xff\x90":  # the main header, up to the first tile
        size = int.from_bytes(code[at + 2 : at + 4], "big")
        if code[at : at + 1] != b"\xff" or size < 2:
            raise CannotConvert(_CUT if at >= len(code) - 4 else "its JPEG 2000 data is damaged")
        at += 2 + size
    while code[at : at + 2] == b"\xff\x90":
        length = int.from_bytes(code[at + 6 : at + 10], "big")
        if length == 0:  # the last part, to the end
            if not code.rstrip(b"\0\r\n").endswith(b"\xff\xd9"):
                raise CannotConvert(_CUT)
            return
        if length < 14 or at + length > len(code):
            raise CannotConvert(_CUT)
        at += length
    if at < len(code) and code[at : at + 2] not in (b"\xff\xd9", b"\xff"):
        raise CannotConvert("its JPEG 2000 data is damaged")


def _boxes(data: bytes, at: int, depth: int = 0) -> Iterator[tuple[bytes, bytes]]:
    """The boxes of a JP2 file (I.4), those in its header too; the first of each kind counts."""
    found: dict[bytes, bytes] = {}
    while data[:4] != b"\xff\x4f\xff\x51" and at + 8 <= len(data):
        size, kind, head = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8], 8
        if size == 1:
            size, head = int.from_bytes(data[at + 8 : at + 16], "big"), 16
        body = data[at + head : at + size if size else None]
        if kind == b"jp2h" and depth == 0:
            for inner, part in _boxes(body, 0, 1):
                found.setdefault(inner, part)
        elif kind != b"colr" or body[:1] in (b"\1", b"\2"):  # other ways to name colours are for other readers
            found.setdefault(kind, body)
        if size and size < head:
            break
        at = at + size if size else len(data)
    yield from found.items()


def _segments(code: bytes) -> Iterator[tuple[int, bytes]]:
    """The marker segments of the main header: kind and what follows its length."""
    at = 2
    while at + 4 <= len(code) and code[at] == 0xFF and code[at + 1] != 0x90:
        size = int.from_bytes(code[at + 2 : at + 4], "big")
        yield code[at + 1], code[at + 4 : at + 2 + size]
        at += 2 + max(size, 2)
