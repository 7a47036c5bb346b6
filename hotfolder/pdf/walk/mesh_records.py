"""Reads the packed numbers of gradient meshes (ISO 32000-1 8.7.4.5.5 to 8.7.4.5.8) and writes them anew."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pikepdf import Stream

from hotfolder.pdf.objects import entry, numbers, stream_bytes, whole
from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.outcome import CannotConvert

MOST_RECORDS = 500_000
MOST_BYTES = 32 * 2**20
_PLACES, _COLOURS, _FLAGS = (1, 2, 4, 8, 12, 16, 24, 32), (1, 2, 4, 8, 12, 16), (0, 2, 4, 8)
Bits = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class Records:
    """A mesh's vertices or patches as the file has them, in order.

    `heads`: each one's flag and places as bits; `counts`: how many colours follow; `colours`: all of them together,
    (sum of counts, n); `points`: each one's places, (points, 2).
    """

    heads: list[Bits]
    flags: list[int]
    points: list[Floats]
    counts: list[int]
    colours: Floats
    decode: list[float]

    def with_colours(self, inks: Floats) -> bytes:
        """The mesh's bytes with other colours, 16 bits each; every record fills whole bytes (8.7.4.5.5)."""
        deep = np.round(np.clip(inks, 0, 1) * 65535).astype(">u2")
        packed = np.unpackbits(deep.view(np.uint8).reshape(len(inks), -1), axis=1)
        if len({len(head) for head in self.heads}) == 1:  # all alike, as vertices are
            rows = np.concatenate([np.stack(self.heads), packed.reshape(len(self.heads), -1)], axis=1)
            return np.packbits(rows, axis=1).tobytes()
        ends = np.cumsum(self.counts)
        return b"".join(
            np.packbits(np.concatenate([head, packed[end - count : end].ravel()])).tobytes()
            for head, count, end in zip(self.heads, self.counts, ends, strict=True)
        )


def read_mesh(mesh: Stream, space: Space, kind: int) -> Records:
    """A mesh of type 4 to 7 without a function. CannotConvert where it can't be read."""
    place, colour = whole(entry(mesh, "/BitsPerCoordinate"), 0), whole(entry(mesh, "/BitsPerComponent"), 0)
    flag = whole(entry(mesh, "/BitsPerFlag"), 0) if kind != 5 else 0
    if colour not in _COLOURS or place not in _PLACES or flag not in _FLAGS or (kind != 5) != (flag > 0):
        raise CannotConvert("its numbers can't be read")
    decode = numbers(entry(mesh, "/Decode"), 4 + 2 * space.n)
    data = stream_bytes(mesh)
    if len(data) > MOST_BYTES:
        raise CannotConvert("it has too many points")
    bits = np.unpackbits(np.frombuffer(data, np.uint8))
    cut = _vertices if kind < 6 else _patches
    heads, flags, counts, raw = cut(bits, kind, flag, place, space.n * colour)
    if not heads:
        raise CannotConvert("it is empty")
    limits = np.array(decode[4:]).reshape(-1, 2)
    parts = _whole_numbers(raw, colour).reshape(-1, space.n) / (2.0**colour - 1)
    places = [len(head[flag:]) // (2 * place) for head in heads]
    scaled = _whole_numbers(np.concatenate([head[flag:] for head in heads]), place).reshape(-1, 2) / (2.0**place - 1)
    low, high = np.array(decode[:4:2]), np.array(decode[1:4:2])
    points = np.split(low + scaled * (high - low), np.cumsum(places)[:-1])
    return Records(heads, flags, points, counts, limits[:, 0] + parts * (limits[:, 1] - limits[:, 0]), decode)


_Cut = tuple[list[Bits], list[int], list[int], Bits]


def _vertices(bits: Bits, kind: int, flag: int, place: int, colour: int) -> _Cut:
    """Types 4 and 5: (heads, flags, 1 colour each, all colours' bits)."""
    row = -(-(flag + 2 * place + colour) // 8) * 8
    count = len(bits) // row
    if count > MOST_RECORDS:
        raise CannotConvert("it has too many points")
    table = bits[: count * row].reshape(count, row)
    flags = (
        (table[:, max(flag - 2, 0) : flag] @ np.array([2, 1][: min(flag, 2)], int)).tolist() if flag else [0] * count
    )
    head = flag + 2 * place
    return list(table[:, :head]), flags, [1] * count, table[:, head : head + colour].ravel()


def _patches(bits: Bits, kind: int, flag: int, place: int, colour: int) -> _Cut:
    """Types 6 and 7: a patch that shares an edge with the one before (flag not 0) leaves out what both have."""
    heads, flags, counts, raw = [], [], [], []
    at = 0
    while at + flag < len(bits):
        edge = int(bits[at + flag - 2]) * 2 + int(bits[at + flag - 1])
        corners = 2 if edge else 4
        start = at + flag + ((12 if kind == 6 else 16) - (4 if edge else 0)) * 2 * place
        end = start + corners * colour
        if end > len(bits):
            break
        heads.append(bits[at:start])
        flags.append(edge)
        counts.append(corners)
        raw.append(bits[start:end])
        at = end + (-end % 8)
        if len(heads) > MOST_RECORDS:
            raise CannotConvert("it has too many points")
    return heads, flags, counts, np.concatenate(raw) if raw else np.zeros(0, np.uint8)


def _whole_numbers(bits: Bits, width: int) -> Floats:
    rows = bits.reshape(-1, width)
    out = np.zeros(len(rows))
    for column in range(width):
        out = out * 2 + rows[:, column]
    return out


def write_pieces(points: Floats, inks: Floats, decode: list[float]) -> bytes:
    """Triangles (type 4) or tensor patches (type 7) that share no edges: flags of 8, places of 32, colours of 16 bits.

    `points` (m, p, 2) in the order of the stream, `inks` (m, c, n). A triangle's points come each with their colour.
    """
    low, high = np.array(decode[:4:2]), np.array(decode[1:4:2])
    width = np.where(high == low, 1, high - low)
    deep = np.round(np.clip((points - low) / width, 0, 1) * (2.0**32 - 1)).astype(">u4")
    colours = np.round(np.clip(inks, 0, 1) * 65535).astype(">u2")
    m, p, c, n = *points.shape[:2], *inks.shape[1:]
    if p == c:
        vertices = np.zeros((m, p), [("flag", "u1"), ("at", ">u4", 2), ("inks", ">u2", n)])
        vertices["at"], vertices["inks"] = deep, colours
        return vertices.tobytes()
    patches = np.zeros(m, [("flag", "u1"), ("at", ">u4", (p, 2)), ("inks", ">u2", (c, n))])
    patches["at"], patches["inks"] = deep, colours
    return patches.tobytes()
