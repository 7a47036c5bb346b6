"""Reads single values out of a PDF without trusting it: wrong types and odd numbers become a default or a ValueError."""

import contextlib
import copy
import math
from collections.abc import Iterator
from decimal import Decimal

import pikepdf
from pikepdf import Array, Dictionary, Name, Object, Stream, StreamDecodeLevel

from hotfolder.pdf.deflate import unpacked

MOST_LEVELS = 32  # Deeper page trees, colour spaces and functions than this are damage or malice.
LARGEST = 1e9  # Beyond any coordinate or dimension that ISO 32000-1 annex C lets a reader expect.


def entry(container: object, key: str, default: object = None) -> object:
    """The value under `key` of a dictionary or stream; `default` where there is none or no dictionary."""
    if not isinstance(container, (Dictionary, Stream)):
        return default
    value = container[key] if key in container else None  # noqa: SIM401 -- `get` refuses names that are no UTF-8
    return default if value is None else value


def number(value: object, default: float | None = None) -> float:
    """A finite float; ValueError where there is no default."""
    if isinstance(value, (int, float, Decimal)) and not isinstance(value, bool):
        result = float(value)
        if math.isfinite(result) and abs(result) <= LARGEST:
            return result
    if default is None:
        raise ValueError(f"expected a number, found {type(value).__name__}")
    return default


def whole(value: object, default: int | None = None) -> int:
    return int(number(value, None if default is None else float(default)))


def numbers(value: object, count: int | None = None) -> list[float]:
    """All numbers of an array, exactly `count` of them if given; ValueError else."""
    if not isinstance(value, Array):
        raise ValueError("expected a list of numbers")
    found = [number(item) for item in value]
    if count is not None and len(found) != count:
        raise ValueError(f"expected {count} numbers, found {len(found)}")
    return found


def name(value: object) -> str:
    """A name's text without its slash, "" for anything else."""
    return bytes(value).decode("utf-8", "surrogateescape")[1:] if isinstance(value, Name) else ""


def names(value: object) -> list[str]:
    """One name or an array of them, as a list of texts."""
    if isinstance(value, Array):
        return [name(item) for item in value]
    return [name(value)] if isinstance(value, Name) else []


def dictionary(value: object) -> Dictionary:
    """The value itself if it is a dictionary, else an empty one."""
    return value if isinstance(value, Dictionary) else Dictionary()


def identity(value: object) -> tuple[int, int] | None:
    """Number and generation of an indirect object; None for a direct one, which nothing else can share."""
    if isinstance(value, Object) and value.objgen != (0, 0):
        return value.objgen
    return None


def same_object(one: object, other: object) -> bool:
    """Whether two PDF values are one object, or direct ones that hold the same (pikepdf hands out a new one each time)."""
    if one is other:
        return True
    if not isinstance(one, Object) or not isinstance(other, Object):
        return False
    place = identity(one)
    return place == identity(other) if place is not None or identity(other) is not None else bool(one == other)


def stream_bytes(stream: object) -> bytes:
    """A stream's decoded bytes; ValueError in plain words where it is none, or is damaged."""
    if not isinstance(stream, Stream):
        raise ValueError("expected a data stream")
    if name(entry(stream, "/Filter")) == "FlateDecode" and entry(stream, "/DecodeParms") is None:
        with contextlib.suppress(ValueError):  # qpdf, which follows, reads damaged data as far as it goes, and tells
            return unpacked(stream.read_raw_bytes())
    try:
        return stream.read_bytes(StreamDecodeLevel.specialized)
    except (pikepdf.PdfError, RuntimeError) as fault:
        raise ValueError(f"its data is damaged ({str(fault).rsplit(': ', 1)[-1]})") from fault


def content_bytes(contents: object) -> bytes:
    """A page's content: one stream or an array of them, joined by white space (ISO 32000-1 7.8.2)."""
    if contents is None:
        return b""
    if isinstance(contents, Array):
        return b"\n".join(stream_bytes(part) for part in contents if isinstance(part, Stream))
    return stream_bytes(contents)


def inherited(page: object, key: str) -> object:
    """A page's own or inherited value (ISO 32000-1 7.7.3.4), None where there is none."""
    for node in ancestors(page):
        value = entry(node, key)
        if value is not None:
            return value
    return None


def ancestors(page: object) -> Iterator[object]:
    for _ in range(MOST_LEVELS):
        if not isinstance(page, Dictionary):
            return
        yield page
        page = page.get("/Parent")


def copy_dictionary(source: Dictionary | Stream, leave_out: frozenset[str] = frozenset()) -> Dictionary:
    """A flat copy; what it points to stays shared. By the library: written anew, names that are no UTF-8 are refused."""
    made: Dictionary = copy.copy(source.stream_dict if isinstance(source, Stream) else source)
    for key in leave_out:
        if key in made:
            del made[key]
    return made
