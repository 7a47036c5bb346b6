"""Finds damage inside a JPEG's coded data without decoding every pixel.

A JPEG carries no checksum. What can be told: whether the data is valid code, and whether it holds exactly as many
units (blocks of all components) as the picture has. libjpeg warns of both, but libvips looks at the warnings only
once for each eight lines it hands out, never after the last; and libjpeg itself keeps silent about data left over.
So the picture is decoded for its block averages alone, laid out anew in rows of another length (the code knows nothing
of rows) so that the last of them ends a group of eight lines, with one more group declared than there is: a warning
before that group means too little data, anything but blank units behind the last one too much.

What stays unseen: damage that turns valid code into as many other valid units; one missing unit at the very end.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyvips
from numpy.typing import NDArray

from hotfolder.pdf.opening.jpeg import JpegHead

_LONGEST = 65_500  # libjpeg's limit for a side
_GROUP = 8  # lines that libvips' JPEG reader fetches at a time
_DAMAGED = "Its picture data is damaged"


@dataclass(frozen=True)
class _Units:
    """The coded units of a picture (ISO/IEC 10918-1 A.2): blocks across and down in one, and how many there are."""

    across: int
    down: int
    in_row: int
    rows: int

    @property
    def count(self) -> int:
        return self.in_row * self.rows


def check_jpeg_data(head: JpegHead) -> NDArray[np.uint8] | None:
    """Decode coarsely. ValueError with one sentence where the coded data is damaged, too short or too long.

    Gives what was decoded as (rows, columns, bands), one for each 8 x 8 pixels as the picture lies, where that came
    about on the way.
    """
    units = _units(head)
    _check_restarts(head, units)
    layout = _layout(units, whole_groups=head.restart_interval > 0)
    if head.process == "progressive" or head.scans != 1 or layout is None:
        coarse = min(head.width, head.height) >= 8
        _decode(
            head.data[: head.end], shrink=8 if coarse else 1
        )  # read to the end before the first line comes out: every warning is seen
        return None
    rows, columns = layout
    extra = _GROUP // math.gcd(_GROUP, units.down)
    data = bytearray(head.data[: head.end])
    size = ((rows + extra) * 8 * units.down).to_bytes(2, "big") + (columns * 8 * units.across).to_bytes(2, "big")
    data[head.frame_at + 5 : head.frame_at + 9] = size
    if head.restart_interval:
        _decode(bytes(data), rows * units.down)  # each interval's end is checked by its marker
        return None
    cut = _cut(_decode(bytes(data)), units)
    _check_end(cut, units, rows * columns, head)
    return _as_it_lies(cut, head, units)


def _units(head: JpegHead) -> _Units:
    across = down = 1
    if head.components > 1:
        across, down = max(a for a, _ in head.sampling), max(d for _, d in head.sampling)
    return _Units(across, down, math.ceil(head.width / (8 * across)), math.ceil(head.height / (8 * down)))


def _check_restarts(head: JpegHead, units: _Units) -> None:
    if head.restart_interval and head.scans == 1:
        wanted = math.ceil(units.count / head.restart_interval) - 1
        if head.restarts != wanted:
            raise ValueError(f"{_DAMAGED}: parts of it are missing or stand there twice.")


def _layout(units: _Units, whole_groups: bool) -> tuple[int, int] | None:
    """Rows and columns that hold the units with fewest unchecked, the rows ending a group of lines.

    Unchecked are those left over; with `whole_groups`, those of the last group too.
    """
    step = _GROUP // math.gcd(_GROUP, units.down)
    best: tuple[int, int, int] | None = None
    for rows in range(step, _LONGEST // (8 * units.down) - step, step):
        columns = units.count // rows
        if columns < 1:
            break
        if columns * 8 * units.across <= _LONGEST:
            unchecked = units.count - rows * columns + (step * columns if whole_groups else 0)
            best = min(best or (unchecked, rows, columns), (unchecked, rows, columns))
    return best[1:] if best else None


def _decode(data: bytes, lines: int | None = None, shrink: int = 8) -> NDArray[np.uint8]:
    """Block averages, or pixels, as (lines, width, bands); the first `lines` of them if given."""
    try:
        image = pyvips.Image.jpegload_buffer(data, shrink=shrink, access="sequential", fail_on="warning")
        region = pyvips.Region.new(image)
        parts = []
        lines = image.height if lines is None else lines
        for top in range(0, lines, _GROUP):
            parts.append(region.fetch(0, top, image.width, min(_GROUP, lines - top)))
        return np.frombuffer(b"".join(parts), np.uint8).reshape(-1, image.width, image.bands)
    except pyvips.Error as fault:
        reason = str(fault).strip().splitlines()[-1].removeprefix("VipsJpeg: ").removeprefix("Corrupt JPEG data: ")
        raise ValueError(f"{_DAMAGED} ({reason}).") from fault


def _cut(lines: NDArray[np.uint8], units: _Units) -> NDArray[np.uint8]:
    """The coarse picture as (units, down, across, bands), in the order of the code."""
    height, width, bands = lines.shape
    cut = lines.reshape(height // units.down, units.down, width // units.across, units.across, bands).swapaxes(1, 2)
    return cut.reshape(-1, units.down, units.across, bands)


def _as_it_lies(cut: NDArray[np.uint8], head: JpegHead, units: _Units) -> NDArray[np.uint8] | None:
    """The units in the picture's own rows, whole blocks only; None where some were left over in the other layout."""
    if len(cut) < units.count or min(head.width, head.height) < 8:
        return None
    rows = cut[: units.count].reshape(units.rows, units.in_row, units.down, units.across, -1).swapaxes(1, 2)
    whole = rows.reshape(units.rows * units.down, units.in_row * units.across, -1)
    return whole[: head.height // 8, : head.width // 8]


def _check_end(cut: NDArray[np.uint8], units: _Units, warned: int, head: JpegHead) -> None:
    """Where data has ended libjpeg fills in middle gray, behind one unit that may be anything. Of the first `warned`
    units it would have warned, so gray among them is the picture's own."""
    blank = np.abs(cut.reshape(len(cut), -1).astype(np.int16) * 2 - 255).max(axis=1) <= 2
    if not blank[units.count + 1 :].all():
        raise ValueError(f"{_DAMAGED}: there is more of it than the picture needs.")
    above = units.count - 1 - units.in_row
    gray = above >= 0 and blank[units.count - 1] and not blank[above]  # a gray poster is gray there too
    if units.count > warned and gray and _ends_flat(head):
        raise ValueError(f"{_DAMAGED}: its end is missing.")


def _ends_flat(head: JpegHead) -> bool:
    """Whether the last corner has no detail at all, as what libjpeg fills in: a photograph's gray has some."""
    try:
        picture = pyvips.Image.jpegload_buffer(head.data[: head.end], access="sequential")
        corner = picture.crop(head.width - 4, head.height - 4, 4, 4).numpy()
    except pyvips.Error as fault:
        raise ValueError(f"{_DAMAGED} ({fault}).") from fault
    return int(np.ptp(corner.reshape(16, -1), axis=0).max()) == 0
