"""Reads what a TIFF file says about itself (TIFF 6.0), and refuses in words what can't be printed as one picture."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import BinaryIO

from hotfolder.pdf.opening import exif
from hotfolder.pdf.opening.exif import Directory, read_directories

_REDUCED, _MASK = 1, 4  # NewSubfileType: a small version of another picture, a mask for one
_MINISWHITE, _MINISBLACK, _RGB, _PALETTE, _SEPARATED, _YCBCR = 0, 1, 2, 3, 5, 6
_COLOURS = {_MINISWHITE: 1, _MINISBLACK: 1, _RGB: 3, _PALETTE: 1, _SEPARATED: 4, _YCBCR: 3}
_LAB = (8, 9, 10)
_UNSIGNED = 1
_CMYK_INKS = 1
_ALPHA = {1: "premultiplied", 2: "plain"}


@dataclass(frozen=True)
class TiffHead:
    """The first page's properties, and how many pages there are."""

    directory: Directory
    pages: int

    @property
    def width(self) -> int:
        return self.directory.whole(exif.WIDTH)

    @property
    def height(self) -> int:
        return self.directory.whole(exif.HEIGHT)

    @property
    def bits(self) -> int:
        return self.directory.whole(exif.BITS, 1)

    @property
    def photometric(self) -> int:
        return self.directory.whole(exif.PHOTOMETRIC, -1)

    @property
    def samples(self) -> int:
        return self.directory.whole(exif.SAMPLES, 1)

    @property
    def palette(self) -> bool:
        return self.photometric == _PALETTE

    @property
    def inks(self) -> bool:
        return self.photometric == _SEPARATED

    @property
    def extra(self) -> int:
        """Channels beyond the colour's own."""
        return max(0, self.samples - _COLOURS.get(self.photometric, self.samples))

    @property
    def alpha(self) -> str:
        """ "plain", "premultiplied", or "" where no channel says what shows through."""
        kinds = self.directory.get(exif.EXTRA_SAMPLES, ())
        return _ALPHA.get(int(kinds[0]), "") if kinds and self.extra == 1 else ""


def read_tiff(stream: BinaryIO) -> TiffHead:
    """Read all directories. ValueError with one sentence where they are damaged or data lies outside the file."""
    directories = read_directories(stream)
    shown = [page for page in directories if not page.whole(exif.SUBFILE) & (_REDUCED | _MASK)] or directories[:1]
    if directories[0] is not shown[0]:
        raise ValueError("Its first picture is only a small version of another one.")
    head = TiffHead(shown[0], len(shown))
    _check_places(head.directory, os.fstat(stream.fileno()).st_size)
    return head


def why_unusual(head: TiffHead) -> str:
    """A sentence where the picture is of a kind that isn't opened; "" where it is."""
    if head.photometric in _LAB:
        return "It is saved in Lab colours, and TIFF files don't say clearly which white they start from."
    if head.photometric not in _COLOURS:
        return "Its kind of colour is unusual."
    if head.directory.whole(exif.SAMPLE_FORMAT, _UNSIGNED) != _UNSIGNED:
        return "Its pixels are not plain numbers of brightness."
    depths = set(head.directory.get(exif.BITS, (1,)))
    if len(depths) != 1 or head.bits not in (1, 2, 4, 8, 16):
        return f"It has {head.bits} bits for each colour; 1, 8 and 16 are usual."
    if head.bits < 8 and head.samples > 1:
        return f"It has {head.bits} bits for each of several colours; 8 and 16 are usual."
    if head.inks and head.directory.whole(exif.INK_SET, _CMYK_INKS) != _CMYK_INKS:
        return "It has inks other than cyan, magenta, yellow and black."
    if head.samples < _COLOURS[head.photometric]:
        return f"It has {head.samples} channels, fewer than its kind of colour needs."
    return ""


def _check_places(directory: Directory, size: int) -> None:
    tiled = exif.TILE_OFFSETS in directory
    offsets = directory.get(exif.TILE_OFFSETS if tiled else exif.STRIP_OFFSETS, ())
    counts = directory.get(exif.TILE_COUNTS if tiled else exif.STRIP_COUNTS, ())
    if not offsets:
        raise ValueError("There is no picture in it.")
    # A missing list of lengths is repaired by the decoder; a place outside the file is not.
    ends = [at + length for at, length in zip(offsets, counts, strict=False)] or list(offsets)
    if min(offsets) < 8 or max(ends) > size:
        raise ValueError("It breaks off before the picture is complete.")
