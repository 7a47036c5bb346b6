"""Reads in a font program whether its maker lets it travel inside documents at all."""

from __future__ import annotations

import re

_RESTRICTED, _LEVELS = 0x0002, 0x000F  # OpenType specification, table OS/2, fsType: bits 0 to 3 say how far it may go
_MOST_TABLES = 200
_TYPE_1 = re.compile(rb"/FSType\s+(\d{1,5})\s+def")  # the same number in a Type 1 font's FontInfo
_CLEAR = 20_000  # bytes of a Type 1 font: its FontInfo stands at the beginning


def forbids_embedding(program: bytes) -> bool:
    """Whether a font program asks for "restricted licence embedding"; no where it doesn't say.

    Parts of fonts, as documents have them, often lack the table that says it.
    """
    rights = _of_type_1(program) if program[:1] in (b"%", b"\x80") else _of_open_type(program)
    # The least restrictive of several counts (OpenType specification, versions of OS/2 before 3).
    return rights is not None and rights & _LEVELS == _RESTRICTED


def _of_type_1(program: bytes) -> int | None:
    found = _TYPE_1.search(program, 0, _CLEAR)
    return int(found[1]) if found else None


def _of_open_type(program: bytes) -> int | None:
    """OpenType specification, "Organization of an OpenType font": a list of tables, 16 bytes each."""
    for at in range(min(int.from_bytes(program[4:6]), _MOST_TABLES)):
        record = program[12 + 16 * at : 28 + 16 * at]
        if record[:4] == b"OS/2":
            start = int.from_bytes(record[8:12])
            rights = program[start + 8 : start + 10]
            return int.from_bytes(rights) if len(rights) == 2 else None
    return None
