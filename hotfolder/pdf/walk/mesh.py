"""Converts the corner colours of gradient meshes (ISO 32000-1 8.7.4.5.5 to 8.7.4.5.8); their geometry stays."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from pikepdf import Array, Object, Stream

from hotfolder.pdf.objects import entry, numbers, stream_bytes, whole
from hotfolder.pdf.values.spaces import Floats, Space
from hotfolder.pdf.walk.outcome import CannotConvert

if TYPE_CHECKING:
    from hotfolder.pdf.walk.walker import Walker

MOST_RECORDS = 500_000
_ENCODED = frozenset({"/Length", "/Filter", "/DecodeParms", "/Decode", "/BitsPerComponent"})


def convert_mesh(walker: "Walker", mesh: Stream, space: Space, kind: int, changes: dict[str, object]) -> Object:
    """A mesh of type 4 to 7 with the mapping's colours at its corners, 16 bits each.

    Between corners, colours are mixed in the new space from now on, which a remark says.
    """
    n = walker.mapping.target.n
    colour_bits, place_bits = whole(entry(mesh, "/BitsPerComponent"), 0), whole(entry(mesh, "/BitsPerCoordinate"), 0)
    flag_bits = whole(entry(mesh, "/BitsPerFlag"), 0) if kind != 5 else 0
    if (
        colour_bits not in (1, 2, 4, 8, 12, 16)
        or place_bits not in (1, 2, 4, 8, 12, 16, 24, 32)
        or flag_bits not in (0, 2, 4, 8)
    ):
        raise CannotConvert("its numbers can't be read")
    decode = numbers(entry(mesh, "/Decode"), 4 + 2 * space.n)
    limits = np.array(decode[4:]).reshape(-1, 2)
    bits = np.unpackbits(np.frombuffer(stream_bytes(mesh), np.uint8))
    records = list(_records(bits, kind, flag_bits, place_bits, space.n * colour_bits))
    if not records:
        raise CannotConvert("it is empty")
    raw = [_unpack(bits[start:end], colour_bits, space.n) for _, start, end in records]
    counts = [len(colours) for colours in raw]
    values = limits[:, 0] + np.concatenate(raw) / (2.0**colour_bits - 1) * (limits[:, 1] - limits[:, 0])
    inks = walker.mapping.colours(space, values, True)
    packed = np.unpackbits(
        np.round(np.clip(inks, 0, 1) * 65535).astype(">u2").view(np.uint8).reshape(len(inks), -1), axis=1
    )
    parts, at = [], 0
    for (begin, start, _), count in zip(records, counts, strict=True):
        record = np.concatenate([bits[begin:start], packed[at : at + count].ravel()])
        parts.append(np.pad(record, (0, -len(record) % 8)))
        at += count
    new = walker.rewritten(mesh, np.packbits(np.concatenate(parts)).tobytes(), _ENCODED | frozenset(changes))
    for key, value in changes.items():
        new[key] = value
    new.BitsPerComponent = 16
    new.Decode = Array([*decode[:4], *[0, 1] * n])
    walker.result.remark(walker.page_number, "a gradient mesh", "between its corners, colours are now mixed as inks")
    return walker.pdf.make_indirect(new)


def _records(bits: NDArray[np.uint8], kind: int, flag: int, place: int, colour: int) -> Iterator[tuple[int, int, int]]:
    """Each vertex or patch: where it begins, where its colours begin and end, in bits. Every record fills whole bytes
    (8.7.4.5.5); a lattice's vertices too."""
    at, count = 0, 0
    while at + flag + 2 * place + colour <= len(bits):
        edge = int(np.packbits(np.pad(bits[at : at + flag], (8 - flag, 0)))[0]) & 3 if flag else 0
        points, corners = 1, 1
        if kind >= 6:
            points, corners = (12 if kind == 6 else 16) - (4 if edge else 0), 2 if edge else 4
        start = at + flag + points * 2 * place
        end = start + corners * colour
        if end > len(bits):
            return
        yield at, start, end
        at = end + (-end % 8)
        count += 1
        if count > MOST_RECORDS:
            raise CannotConvert("it has too many points")


def _unpack(bits: NDArray[np.uint8], width: int, n: int) -> Floats:
    rows = bits.reshape(-1, width).astype(np.float64)
    return np.asarray(rows @ (2.0 ** np.arange(width - 1, -1, -1))).reshape(-1, n)
