"""Finds the barcodes and square codes on a page, as a phone or a scanner would, from pictures of it.

The page is drawn coarsely once; where it looks busy like a small code, small parts of it are drawn finer. What is found
is drawn again finely and must read the same there, so that no pattern is taken for a code. A code whose check fails is
found as one that can't be read; one that isn't even known for a code is not found.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import zxingcpp as _zxingcpp
from numpy.typing import NDArray

from hotfolder.finding import Box
from hotfolder.pdf.looking.code_crowded import alone, darkest
from hotfolder.pdf.looking.code_places import FINE, busy_parts
from hotfolder.pdf.render import Pages, Rendered
from hotfolder.units import INCH, MM

zxingcpp: Any = _zxingcpp  # its hints say less than its functions take
Point = tuple[float, float]

COARSE = 60.0  # ppi of the first look at the page; 2 pixels are 0.85 mm
FINEST = 1200.0
MOST_CODES = 30  # of a page
MODULES = 120  # more than most codes have along a side
MODULE_PIXELS = 8  # of one module in the picture that is measured, where that isn't too large
MOST_PIXELS = 1_000_000  # of that picture
_SMALLEST = 8  # pixels of a side
_MOST_STRETCHED = 1.5  # times as wide as high, or the reverse
_SURE_LINEAR = 4  # letters; shorter texts of these kinds are found in stripes that are none

_F = zxingcpp.BarcodeFormat
#: Kinds that are looked for. Those without a check of their own that holds (Codabar, ITF of any length) are left out.
SQUARE_KINDS = [_F.QRCode, _F.MicroQRCode, _F.RMQRCode, _F.DataMatrix, _F.Aztec, _F.PDF417]
STRIPED_KINDS = [_F.EAN13, _F.EAN8, _F.UPCA, _F.UPCE, _F.Code128, _F.Code39, _F.ITF14]
KINDS = SQUARE_KINDS + STRIPED_KINDS
#: Kinds that may be so large that the first look must find them; the others are small, so a closer look does.
LARGE_KINDS = [_F.QRCode, _F.EANUPC, _F.Code128]
#: Kinds whose look is not met by chance (a Data Matrix was, in black bars), so that one whose check fails is told of.
_KNOWN_UNREAD = frozenset(("QR Code", "PDF417", "EAN-13", "UPC-A", "Code 128"))


@dataclass(frozen=True)
class Code:
    """One code. `corners`: its outer corners in pixels of `drawn`, in the code's own order: upper left, upper right, lower
    right, lower left of its pattern; `drawn` shows it with room around."""

    kind: str  # as the standards call it: "QR Code", "EAN-13" ...
    text: str  # what a phone would get; not to be trusted
    page: int
    box: Box  # in the page's user space
    drawn: Rendered
    corners: tuple[Point, Point, Point, Point]
    version: str = ""
    reads: bool = True  # False: what it says doesn't agree with its own check


@dataclass(frozen=True)
class _Seen:
    kind: str
    text: str
    box: Box
    reads: bool


def find_codes(pages: Pages, page: int, area: Box, unit: float, shapes: Pages | None = None) -> list[Code]:
    """The codes in an area of the page (from 1) in reading order. ValueError where it can't be drawn.

    `unit`: points to one unit of the page's space; `shapes`: the same shapes in other colours, to look for codes in.
    """
    shapes = shapes or pages
    first = shapes.render(page, COARSE, area, gray=True)
    gray = _gray(first)
    # What can't be read so coarsely says nothing yet, not even where it stands.
    seen = [found for found in _read(first, gray, formats=LARGE_KINDS, try_downscale=False) if found.reads]
    for part in busy_parts(first, gray, [first.place(found.box) for found in seen]):
        if len(seen) < MOST_CODES:
            closer = shapes.render(page, FINE, part, gray=True)
            for one in sorted(_read(closer, _gray(closer), formats=KINDS), key=lambda found: not found.reads):
                if not any(_same(one, other) for other in seen):
                    seen.append(one)
    codes = [code for found in seen[:MOST_CODES] if (code := _closely(pages, page, found, unit)) is not None]
    kept: list[Code] = []
    for code in sorted(codes, key=lambda code: not code.reads):
        if not any(_same(code, other) for other in kept):
            kept.append(code)
    return sorted(kept, key=lambda code: (-code.box.top, code.box.left))


def _raw(gray: NDArray[np.uint8], **options: object) -> list[Any]:
    if min(gray.shape) < _SMALLEST:
        return []
    found = zxingcpp.read_barcodes(gray, text_mode=zxingcpp.TextMode.Plain, return_errors=True, **options)
    if not found and options.get("formats") is KINDS:  # it turns square codes round by itself
        found = zxingcpp.read_barcodes(255 - gray, formats=STRIPED_KINDS, text_mode=zxingcpp.TextMode.Plain)
    if not found and options.get("formats") is KINDS:
        found = _crowded(gray)
    return [code for code in found if _counts(code)]


def _crowded(gray: NDArray[np.uint8]) -> list[Any]:
    """What can be read once that is away which stands too near to it."""
    plain = zxingcpp.TextMode.Plain
    dark = darkest(gray)
    found = zxingcpp.read_barcodes(dark, formats=[_F.QRCode], text_mode=plain) if dark is not None else []
    for bars in () if found else alone(gray):
        found = zxingcpp.read_barcodes(bars, formats=STRIPED_KINDS, text_mode=plain)
        if any(_counts(code) for code in found):
            break
    return list(found)


def _counts(code: Any) -> bool:
    """Whether it is a code, or one whose check fails: not stripes in which a short text happens to be found."""
    if not code.valid:
        failed = code.error is not None and code.error.type == zxingcpp.ErrorType.Checksum
        return failed and str(code.format) in _KNOWN_UNREAD and (str(code.format) != "QR Code" or _is_square(code))
    return str(code.format) != "Code 39" or len(code.text) >= _SURE_LINEAR


def _is_square(code: Any) -> bool:
    """Whether an unread QR code has the shape of one: in the drawing of a seal one twice as wide as high was met."""
    corners = _corners(code)
    sides = [math.dist(one, other) for one, other in pairwise((*corners, corners[0]))]
    return max(sides) <= _MOST_STRETCHED * min(sides)


def _gray(drawn: Rendered) -> NDArray[np.uint8]:
    picture = drawn.picture
    return np.asarray(picture if picture.mode == "L" else picture.convert("L"))


def _read(drawn: Rendered, gray: NDArray[np.uint8], **options: object) -> Iterator[_Seen]:
    for code in _raw(gray, **options):
        made = _code(code, drawn, 0)
        yield _Seen(made.kind, made.text, made.box, made.reads)


def _corners(code: Any) -> tuple[Point, Point, Point, Point]:
    place = code.position
    points = (place.top_left, place.top_right, place.bottom_right, place.bottom_left)
    return tuple((float(point.x), float(point.y)) for point in points)  # type: ignore[return-value]


def _same(one: _Seen | Code, other: _Seen | Code) -> bool:
    """Whether two are one code: they stand in one place and say the same, or one of them says nothing that counts."""
    alike = (one.kind, one.text) == (other.kind, other.text) or not one.reads or not other.reads
    return alike and one.box.common(other.box) is not None


def _closely(pages: Pages, page: int, found: _Seen, unit: float) -> Code | None:
    """The code drawn so finely that it can be measured; None where it doesn't read the same there."""
    side = max(found.box.width, found.box.height)
    area = found.box.grown(0.3 * side + MM / unit)
    wanted = MODULES * MODULE_PIXELS * INCH / max(side * unit, 1.0)
    affordable = (MOST_PIXELS / (area.width * area.height)) ** 0.5 * INCH / unit
    for ppi in (min(wanted, FINEST, affordable), min(wanted, FINEST, affordable) / 2):  # dirt shows less in the second
        drawn = pages.render(page, ppi, area)
        for code in _raw(_gray(drawn), formats=KINDS):
            made = _code(code, drawn, page)
            right = made.reads and (made.kind, made.text) == (found.kind, found.text) if found.reads else True
            if right and made.box.common(found.box) is not None:
                return made
    return None


def _code(code: Any, drawn: Rendered, page: int) -> Code:
    corners = _corners(code)
    xs, ys = zip(*corners, strict=True)
    box = drawn.box(min(xs), min(ys), max(xs), max(ys))
    extra = code.extra if isinstance(code.extra, dict) else {}
    return Code(str(code.format), code.text, page, box, drawn, corners, str(extra.get("Version", "")), code.valid)
