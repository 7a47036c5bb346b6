"""Reads which letter each code of a font stands for, by the font's own table (ISO 32000-1 9.10.3)."""

from __future__ import annotations

import re

from pikepdf import Dictionary

from hotfolder.pdf.objects import entry, stream_bytes

_CODE = re.compile(rb"<([\da-fA-F\s]*)>")
_MAPPINGS = re.compile(rb"begin(bfchar|bfrange)(.*?)endbf", re.S)
_RANGE = re.compile(rb"<([\da-fA-F]+)>\s*<([\da-fA-F]+)>\s*(?:<([\da-fA-F\s]+)>|\[([^\]]*)\])")
MOST_LETTERS = 70_000
_LATIN = {code: bytes([code]).decode("cp1252", "ignore") for code in range(32, 256)}


def read_letters(found: Dictionary, two_bytes: bool) -> dict[int, str]:
    """Code to letter: by the font's own table (9.10.3), else as Latin letters for a simple font."""
    try:
        return _to_unicode(stream_bytes(entry(found, "/ToUnicode")))
    except ValueError:
        return {} if two_bytes else _LATIN


def _to_unicode(data: bytes) -> dict[int, str]:
    letters: dict[int, str] = {}
    for kind, body in _MAPPINGS.findall(data):
        if kind == b"bfchar":
            codes = [_bytes(code) for code in _CODE.findall(body)]
            letters |= {int.from_bytes(a): _utf16(b) for a, b in zip(codes[::2], codes[1::2], strict=False)}
        else:
            _add_ranges(letters, body)
    return letters


def _add_ranges(letters: dict[int, str], body: bytes) -> None:
    left = MOST_LETTERS  # a range of four bytes could go on for ever
    for first, last, start, listed in _RANGE.findall(body):
        low = int(first, 16)
        if not start:
            letters |= {low + at: _utf16(_bytes(item)) for at, item in enumerate(_CODE.findall(listed))}
            continue
        count = min(int(last, 16) - low + 1, left)
        left -= max(count, 0)
        base, size = int.from_bytes(_bytes(start)), len(_bytes(start))
        for at in range(count):
            letters[low + at] = _utf16(((base + at) % 256**size).to_bytes(size))


def _bytes(code: bytes) -> bytes:
    digits = b"".join(code.split())
    return bytes.fromhex((digits + b"0" * (len(digits) % 2)).decode("ascii")) or b"\0"


def _utf16(raw: bytes) -> str:
    return raw.decode("utf-16-be", "ignore") if len(raw) > 1 else raw.decode("latin-1")
