"""Takes single inks out of a function's outputs without computing it: each table and each end of it alone."""

from collections.abc import Sequence

import numpy as np
import pikepdf
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Stream

from hotfolder.pdf.objects import MOST_LEVELS, copy_dictionary, entry, numbers, stream_bytes, whole
from hotfolder.pdf.values.tables import Sampled, read_pairs

Floats = NDArray[np.float64]
_RESHAPED = frozenset({"/Range", "/Decode", "/BitsPerSample", "/Filter", "/DecodeParms", "/Length"})


def picked(pdf: pikepdf.Pdf, found: object, places: Sequence[int], depth: int = 0) -> pikepdf.Object | None:
    """The function with 1 minus each of these outputs (-1: one that is always 0); None where it is not made of tables
    and power curves alone. ValueError where it is damaged. Exact: between two entries both go straight."""
    if not isinstance(found, (Dictionary, Stream)) or depth > MOST_LEVELS:
        return None
    kind = whole(entry(found, "/FunctionType"), -1)
    if kind == 0 and isinstance(found, Stream) and entry(found, "/Order") in (None, 1):
        return _table(pdf, found, places)
    if "/Range" in found or isinstance(found, Stream):
        return None
    if kind == 2:
        ends = {key: numbers(entry(found, key, Array([default]))) for key, default in (("/C0", 0), ("/C1", 1))}
        made = copy_dictionary(found)
        for key, values in ends.items():
            made[key] = Array([float(x) for x in _inverted(np.array([values]), places)[0]])
        return pdf.make_indirect(made)
    listed = entry(found, "/Functions")
    if kind != 3 or not isinstance(listed, Array):
        return None
    parts = [picked(pdf, part, places, depth + 1) for part in listed]
    if any(part is None for part in parts):
        return None
    made = copy_dictionary(found)
    made.Functions = Array([part for part in parts if part is not None])
    return pdf.make_indirect(made)


def _table(pdf: pikepdf.Pdf, found: Stream, places: Sequence[int]) -> pikepdf.Object | None:
    if (quick := _own_table(found, places)) is not None:
        return pdf.make_indirect(_with_entries(Stream(pdf, quick), found, places))
    read = Sampled(found, read_pairs(found.Domain), read_pairs(entry(found, "/Range")))
    low, high = np.maximum(read.spread[:, :1], 0), np.minimum(read.spread[:, 1:], 1)
    if ((read.decode < low) | (read.decode > high)).any():
        return None  # cut off between two entries, where a table of what is cut would go straight
    values = read.decode[:, 0] + read.table.reshape(-1, read.outputs) * (read.decode[:, 1] - read.decode[:, 0])
    made = Stream(pdf, np.round(_inverted(values, places) * 65535).astype(">u2").tobytes())
    return pdf.make_indirect(_with_entries(made, found, places))


def _own_table(found: Stream, places: Sequence[int]) -> bytes | None:
    """The same for tables as converted gradients have them, often hundreds to a page: 16 bits from 0 to 1."""
    if whole(entry(found, "/BitsPerSample"), 0) != 16 or "/Decode" in found or "/Encode" in found:
        return None
    spread = found.get("/Range")
    if not isinstance(spread, Array) or spread != Array([0, 1] * (len(spread) // 2)):
        return None
    table = np.frombuffer(stream_bytes(found), ">u2")
    outputs = len(spread) // 2
    if max(places) >= outputs or len(table) % outputs or len(table) != outputs * int(np.prod(numbers(found.Size))):
        return None
    columns = [65535 - table.reshape(-1, outputs)[:, place] if place >= 0 else None for place in places]
    full = np.full(len(table) // outputs, 65535)
    return np.stack([full if column is None else column for column in columns], axis=1).astype(">u2").tobytes()


def _with_entries(made: Stream, found: Stream, places: Sequence[int]) -> Stream:
    for key in found.keys():  # noqa: SIM118
        if key not in _RESHAPED:
            made[key] = found[key]
    made.BitsPerSample, made.Range = 16, Array([0, 1] * len(places))
    return made


def _inverted(values: Floats, places: Sequence[int]) -> Floats:
    wide = np.concatenate([np.clip(values, 0, 1), np.zeros((len(values), 1))], axis=1)
    if max(places) >= values.shape[1]:
        raise ValueError("a function that doesn't fit its colour space")
    return np.asarray(1 - wide[:, list(places)])
