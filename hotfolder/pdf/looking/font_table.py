"""Reads which letter each code of a font stands for, by the font's own table (ISO 32000-1 9.10)."""

from __future__ import annotations

import re
import unicodedata

from fontTools.agl import toUnicode
from pikepdf import Array, Dictionary, Name

from hotfolder.pdf.objects import entry, name, stream_bytes, whole

_CODE = re.compile(rb"<([\da-fA-F\s]*)>")
_MAPPINGS = re.compile(rb"begin(bfchar|bfrange)(.*?)endbf", re.S)
_RANGE = re.compile(rb"<([\da-fA-F]+)>\s*<([\da-fA-F]+)>\s*(?:<([\da-fA-F\s]+)>|\[([^\]]*)\])")
MOST_LETTERS = 70_000
_LATIN = {code: bytes([code]).decode("cp1252", "ignore") for code in range(32, 256)}
_MAC = {code: bytes([code]).decode("mac-roman", "ignore") for code in range(32, 256)}


def read_letters(found: Dictionary, two_bytes: bool) -> dict[int, str]:
    """Code to letter: by the font's own table (9.10.3), else for a simple font by its encoding, Latin if none."""
    try:
        return _to_unicode(stream_bytes(entry(found, "/ToUnicode")))
    except ValueError:
        return {} if two_bytes else _encoded(entry(found, "/Encoding"))


def _encoded(encoding: object) -> dict[int, str]:
    """By the encoding's name, and the glyphs' names in what differs from it (9.6.6, and the list of names of 9.10.2)."""
    base = name(encoding) or name(entry(encoding, "/BaseEncoding"))
    letters, differences = _MAC if base == "MacRomanEncoding" else _LATIN, entry(encoding, "/Differences")
    if not isinstance(differences, Array):
        return letters
    letters, code = dict(letters), 0
    for item in differences:
        if isinstance(item, Name):
            letters[code] = unicodedata.normalize("NFKC", toUnicode(name(item)))  # "fi", not one sign
            code += 1
        else:
            code = whole(item, 256)
        if not 0 <= code <= 255:
            break
    return letters


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
