"""Damages files as hostile hands and bad cables do: bits, cuts, splices, and, for PDF and pictures, their own structure."""

from __future__ import annotations

import contextlib
import io
import random
import re
import struct
import warnings
import zlib
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

import pikepdf

Change = Callable[[random.Random, bytes, bytes], bytes]
NUMBERS = [0, 1, -1, 2, 255, 256, 32767, 65535, 65536, 2**31 - 1, 2**31, 2**32 - 1, 2**32, 2**63 - 1, -(2**31)]
ODD_TOKENS = [
    *(b"%d" % number for number in NUMBERS),
    b"9" * 400, b"1e400", b"0.0000001", b"-.", b"--5", b"+", b"null", b"true", b"/", b"[", b"]", b"<<", b">>", b"()", b"<>",
    b"(\\377\\376)", b"R", b"1 0 R", b"endobj", b"stream", b"endstream", b"/DeviceN", b"/Indexed", b"/ICCBased",
    b"/Pattern", b"/JPXDecode", b"/DCTDecode", b"/LZWDecode", b"/RunLengthDecode", b"/CCITTFaxDecode", b"/JBIG2Decode",
]  # fmt: skip
TOKEN = re.compile(rb"/[^\s<>\[\](){}/%]*|\d+ \d+ R\b|[-+]?\d*\.?\d+|<<|>>|\[|\]|\b(?:obj|endobj|stream|endstream|R)\b")
CONTENT = [
    b"q",
    b"Q",
    b"BT",
    b"ET",
    b"BI",
    b"ID",
    b"EI",
    b"sh",
    b"Do",
    b"cm",
    b"scn",
    b"SCN",
    b"cs",
    b"gs",
    b"W n",
    b"f",
    b"S",
]


# ---- bytes


def flip(r: random.Random, data: bytes, other: bytes) -> bytes:
    made = bytearray(data)
    for _ in range(r.choice([1, 1, 2, 8, 64])):
        made[r.randrange(len(made))] ^= 1 << r.randrange(8)
    return bytes(made)


def number(r: random.Random, data: bytes, other: bytes) -> bytes:
    """A number of another size, in either order of bytes."""
    at, width = r.randrange(len(data)), r.choice([1, 2, 4, 8])
    value = r.choice(NUMBERS) & (256**width - 1)
    return data[:at] + value.to_bytes(width, r.choice(["big", "little"])) + data[at + width :]


def cut(r: random.Random, data: bytes, other: bytes) -> bytes:
    return data[: r.randrange(len(data))]


def leave_out(r: random.Random, data: bytes, other: bytes) -> bytes:
    start = r.randrange(len(data))
    return data[:start] + data[start + r.choice([1, 4, 64, 1000]) :]


def repeat(r: random.Random, data: bytes, other: bytes) -> bytes:
    start, length = r.randrange(len(data)), r.choice([1, 16, 200, 5000])
    return data[:start] + data[start : start + length] * r.choice([2, 2, 20]) + data[start + length :]


def splice(r: random.Random, data: bytes, other: bytes) -> bytes:
    return data[: r.randrange(len(data))] + other[r.randrange(len(other)) :]


def plant(r: random.Random, data: bytes, other: bytes) -> bytes:
    at, start = r.randrange(len(data)), r.randrange(len(other))
    part = other[start : start + r.choice([4, 40, 400, 4000])]
    return data[:at] + part + data[at + r.choice([0, len(part)]) :]


BYTES: list[Change] = [flip, flip, number, number, cut, leave_out, repeat, splice, plant]


# ---- PDF as text


def swap_tokens(r: random.Random, data: bytes, other: bytes) -> bytes:
    """Two tokens change places, or one is replaced; what follows them moves, so that the table no longer fits."""
    found = list(TOKEN.finditer(data))
    if len(found) < 2:
        return flip(r, data, other)
    for _ in range(r.choice([1, 1, 3, 10])):
        one, two = sorted(r.sample(range(len(found)), 2))
        a, b = found[one], found[two]
        if b.end() > len(data):
            continue
        if r.random() < 0.5:
            data = data[: a.start()] + r.choice(ODD_TOKENS) + data[a.end() :]
        else:
            data = data[: a.start()] + b[0] + data[a.end() : b.start()] + a[0] + data[b.end() :]
    return data


# ---- PDF as objects


def values(r: random.Random, data: bytes, other: bytes) -> bytes:
    """Entries, numbers, names, links and drawing of a PDF changed; the file around them is right."""
    with contextlib.ExitStack() as closing:
        closing.enter_context(warnings.catch_warnings())
        warnings.simplefilter("ignore")
        pdf = closing.enter_context(pikepdf.open(io.BytesIO(data)))
        objects = [each for each in pdf.objects if isinstance(each, pikepdf.Object)]
        holders = [each for each in objects if each._type_code.name in ("dictionary", "array", "stream")]
        for _ in range(r.choice([1, 2, 4, 12])):
            if holders:
                _change(r, pdf, r.choice(holders), holders)
        made = io.BytesIO()
        pdf.save(made, fix_metadata_version=False, object_stream_mode=r.choice(list(pikepdf.ObjectStreamMode)))
        return made.getvalue()


def _change(r: random.Random, pdf: pikepdf.Pdf, holder: Any, others: Sequence[Any]) -> None:
    if holder._type_code.name == "stream" and r.random() < 0.4:
        _change_stream(r, holder)
        return
    keys = list(range(len(holder))) if holder._type_code.name == "array" else list(holder.keys())
    keys = [key for key in keys if key != "/Length"]
    if not keys:
        return
    key = r.choice(keys)
    inner = holder[key]
    if isinstance(inner, pikepdf.Object) and inner._type_code.name in ("dictionary", "array") and r.random() < 0.6:
        _change(r, pdf, inner, others)
        return
    match r.randrange(5):
        case 0:
            del holder[key]
        case 1:
            holder[key] = r.choice(others)
        case 2:
            twin = r.choice(others)
            if twin._type_code.name in ("dictionary", "stream") and list(twin.keys()):
                holder[key] = twin[r.choice(list(twin.keys()))]
        case 3 if isinstance(inner, int | Decimal | float):
            holder[key] = r.choice([*NUMBERS[:12], Decimal("0.5"), Decimal("-1000000000.5"), -inner, inner * 1000])
        case _:
            holder[key] = pikepdf.Object.parse(r.choice([b"null", b"[]", b"<<>>", b"()", b"true", b"/X", b"1e9", b"-1", b"[0 0 0 0]"]))  # fmt: skip


def _change_stream(r: random.Random, stream: Any) -> None:
    try:
        drawn = bytes(stream.read_bytes())
    except (pikepdf.PdfError, NotImplementedError):
        drawn = b""
    if not drawn:
        stream.write(r.choice(CONTENT))
        return
    if r.random() < 0.5 and TOKEN.search(drawn):
        stream.write(swap_tokens(r, drawn, drawn))
    elif r.random() < 0.5:
        words = drawn.split(b"\n")
        words.insert(r.randrange(len(words) + 1), r.choice(CONTENT + ODD_TOKENS) + b" " + r.choice(CONTENT))
        stream.write(b"\n".join(words))
    else:
        stream.write(r.choice(BYTES)(r, drawn, drawn) or b" ")


def opened(data: bytes) -> bytes:
    """The same PDF with its streams unpacked, so that its tokens can be got at."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with pikepdf.open(io.BytesIO(data)) as pdf:
                made = io.BytesIO()
                pdf.save(
                    made, qdf=True, compress_streams=False, stream_decode_level=pikepdf.StreamDecodeLevel.generalized
                )
                return made.getvalue()
    except (pikepdf.PdfError, pikepdf.PasswordError, RuntimeError, ValueError):
        return data


# ---- pictures


def chunks(r: random.Random, data: bytes, other: bytes) -> bytes:
    """PNG's chunks changed, with a right sum (ISO/IEC 15948 5.3), so that a reader goes on to look at them."""
    found, at = [], 8
    while at + 12 <= len(data):
        size = struct.unpack(">I", data[at : at + 4])[0]
        found.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + size]))
        at += 12 + size
    if not found:
        return flip(r, data, other)
    place = r.randrange(len(found))
    kind, body = found[place]
    found[place] = (kind, r.choice(BYTES)(r, body, other) if body else b"")
    if r.random() < 0.3:
        r.shuffle(found)
    return data[:8] + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body)) for kind, body in found
    )


def fields(r: random.Random, data: bytes, other: bytes) -> bytes:
    """Entries of a TIFF's first directory changed (TIFF 6.0 section 2)."""
    order = "little" if data[:2] == b"II" else "big"
    at = int.from_bytes(data[4:8], order)  # type: ignore[arg-type]
    count = int.from_bytes(data[at : at + 2], order)  # type: ignore[arg-type]
    made = bytearray(data)
    for _ in range(r.choice([1, 1, 2, 5])):
        entry = at + 2 + 12 * r.randrange(max(1, count))
        start, width = r.choice([(0, 2), (2, 2), (4, 4), (8, 4), (8, 2)])
        value = r.choice([*NUMBERS, r.randrange(65536), r.randrange(len(data))]) & (256**width - 1)
        made[entry + start : entry + start + width] = value.to_bytes(width, order)  # type: ignore[arg-type]
    return bytes(made)


def segments(r: random.Random, data: bytes, other: bytes) -> bytes:
    """Bytes of a JPEG's head changed, where its tables and sizes are (ISO/IEC 10918-1 B)."""
    made = bytearray(data)
    for _ in range(r.choice([1, 2, 5])):
        made[r.randrange(2, max(3, min(len(made), 700)))] = r.choice(
            [0, 1, 2, 4, 255, 0xC2, 0xC9, 0xDA, r.randrange(256)]
        )
    return bytes(made)


def changes(data: bytes) -> list[Change]:
    """What can be done to this kind of file, each as likely as the others."""
    if b"%PDF-" in data[:1024]:
        return [*BYTES, *[swap_tokens] * 6, *[values] * 12]
    for head, change in ((b"\x89PNG", chunks), (b"II*\0", fields), (b"MM\0*", fields), (b"\xff\xd8", segments)):
        if data.startswith(head):
            return [*BYTES, *[change] * 9]
    return BYTES


def mutated(r: random.Random, data: bytes, other: bytes) -> bytes:
    """A damaged copy; several times damaged at times. Never empty."""
    for _ in range(r.choice([1, 1, 1, 2, 4])):
        change = r.choice(changes(data))
        # What is damaged already may resist the tools that damage it in an orderly way.
        with contextlib.suppress(pikepdf.PdfError, pikepdf.PasswordError, RuntimeError, ValueError, TypeError, KeyError, IndexError, NotImplementedError, OverflowError, AttributeError, struct.error):  # fmt: skip
            data = change(r, data, other) or data
    return data
