"""Reads what a JPEG file says about itself, segment by segment, without decoding the picture (ISO/IEC 10918-1 annex B)."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass, field

from hotfolder.pdf.opening.exif import Directory, read_exif, resolution, usable_resolution

_ANY_MARKER = re.compile(rb"\xff[\x01-\xfe]")
_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")  # in coded data: neither a stuffed zero nor a restart
_RESTART = re.compile(rb"\xff[\xd0-\xd7]")
_MOST_SEGMENTS = 10_000
_MOST_SCANS = 200  # no encoder writes more than a few dozen; each costs a pass over the whole picture

_SOI, _EOI, _SOS, _DRI = 0xD8, 0xD9, 0xDA, 0xDD
_APP0, _APP1, _APP2, _APP14 = 0xE0, 0xE1, 0xE2, 0xEE
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_USUAL = {0xC0: "baseline", 0xC1: "extended", 0xC2: "progressive"}


@dataclass
class JpegHead:
    """What the segments say. `sampling`: (across, down) of each component; `end`: where the first picture ends."""

    data: bytes = field(repr=False)
    width: int = 0
    height: int = 0
    bits: int = 0
    process: str = ""  # "baseline", "extended", "progressive"
    frame_at: int = 0  # of the frame's marker
    identifiers: bytes = b""
    sampling: list[tuple[int, int]] = field(default_factory=list)
    scans: int = 0
    restart_interval: int = 0
    restarts: int = 0
    end: int = 0
    jfif: bool = False
    adobe: int | None = None  # the transform its marker names
    density: tuple[float, float] | None = None  # pixels per inch by JFIF
    exif: Directory = field(default_factory=Directory)
    profile_parts: dict[int, bytes] = field(default_factory=dict)
    profile_count: int = 0

    @property
    def components(self) -> int:
        return len(self.sampling)

    @property
    def ppi(self) -> tuple[float, float] | None:
        """Pixels per inch as the file says: JFIF first, then EXIF."""
        return self.density or resolution(self.exif)

    @property
    def profile(self) -> bytes | None:
        """The embedded ICC profile, put together (ICC.1:2010 annex B.4); b"" where a part is missing."""
        if not self.profile_parts:
            return None
        parts = [self.profile_parts.get(number) for number in range(1, self.profile_count + 1)]
        return b"".join(part or b"" for part in parts) if all(parts) else b""

    @property
    def colour_transform(self) -> int:
        """1 where colours are coded as brightness and two differences, as common decoders tell; ISO 32000-1 table 13."""
        if self.components == 4:
            return 1 if self.adobe else 0
        if self.components != 3:
            return 0
        if self.jfif or self.adobe is None:
            return 0 if not self.jfif and self.identifiers == b"RGB" else 1
        return 1 if self.adobe else 0


def read_jpeg(data: bytes) -> JpegHead:
    """Go through every segment to the end of the picture. ValueError with one sentence where it is damaged."""
    head = JpegHead(data)
    at = 2
    for _ in range(_MOST_SEGMENTS):
        at, marker = _next_marker(data, at)
        if marker == _EOI:
            head.end = at
            return _checked(head)
        if marker in (0x01, _SOI) or 0xD0 <= marker <= 0xD7:
            continue
        length = int.from_bytes(data[at : at + 2], "big")
        if length < 2 or at + length > len(data):
            raise ValueError("It breaks off before the picture is complete.")
        _segment(head, marker, at, data[at + 2 : at + length])
        at += length
        if marker == _SOS:
            at = _skip_coded(head, at)
    raise ValueError("It is damaged: it has parts without end.")


def _next_marker(data: bytes, at: int) -> tuple[int, int]:
    """The next marker and the place behind it; decoders step over stray bytes, so we do too."""
    match = _ANY_MARKER.search(data, at)
    if match is None:
        raise ValueError("It breaks off before the picture is complete.")
    return match.end(), match[0][1]


def _segment(head: JpegHead, marker: int, at: int, body: bytes) -> None:
    if marker in _FRAMES:
        _frame(head, marker, at, body)
    elif marker == _SOS:
        head.scans += 1
        if head.scans > _MOST_SCANS:
            raise ValueError("It is damaged: it builds the picture up in too many passes.")
    elif marker == _DRI and len(body) >= 2:
        head.restart_interval = int.from_bytes(body[:2], "big")
    elif marker == _APP0 and body.startswith(b"JFIF\0") and len(body) >= 12:
        head.jfif = True
        per_inch = {1: 1.0, 2: 2.54}.get(body[7], 0.0)
        across, down = (int.from_bytes(body[place : place + 2], "big") * per_inch for place in (8, 10))
        head.density = usable_resolution(across, down)
    elif marker == _APP1 and body.startswith(b"Exif\0") and not head.exif:
        head.exif = read_exif(io.BytesIO(body[6:]))
    elif marker == _APP2 and body.startswith(b"ICC_PROFILE\0") and len(body) > 14:
        head.profile_parts.setdefault(body[12], body[14:])
        head.profile_count = max(head.profile_count, body[13])
    elif marker == _APP14 and body.startswith(b"Adobe") and len(body) >= 12:
        head.adobe = body[11]


def _frame(head: JpegHead, marker: int, at: int, body: bytes) -> None:
    if head.frame_at:
        raise ValueError("It is damaged: it announces its size twice.")
    if len(body) < 6 or len(body) < 6 + 3 * body[5]:
        raise ValueError("It is damaged where its size should stand.")
    head.frame_at = at - 2
    head.process = _USUAL.get(marker, "")
    head.bits = body[0]
    head.height, head.width = int.from_bytes(body[1:3], "big"), int.from_bytes(body[3:5], "big")
    parts = [body[6 + 3 * index : 9 + 3 * index] for index in range(body[5])]
    head.identifiers = bytes(part[0] for part in parts)
    head.sampling = [(part[1] >> 4, part[1] & 15) for part in parts]


def _skip_coded(head: JpegHead, at: int) -> int:
    match = _MARKER.search(head.data, at)
    if match is None:
        raise ValueError("It breaks off before the picture is complete.")
    if head.restart_interval:
        head.restarts += sum(1 for _ in _RESTART.finditer(head.data, at, match.start()))
    return match.start()


def _checked(head: JpegHead) -> JpegHead:
    if not head.frame_at or not head.scans:
        raise ValueError("There is no picture in it.")
    if not all(1 <= across <= 4 and 1 <= down <= 4 for across, down in head.sampling):
        raise ValueError("It is damaged where its size should stand.")
    return head
