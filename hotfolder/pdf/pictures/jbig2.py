"""Goes through the parts of a JBIG2 picture (ITU-T T.88 7.2) to see whether all of them are there."""

_CUT = "its JBIG2 data is cut short"
_UNKNOWN = 0xFFFFFFFF
_PAGE, _END_OF_PAGE = 48, 49
_PAINTING = frozenset({4, 6, 7, 20, 22, 23, 36, 38, 39, 40, 42, 43})


def check_jbig2(data: bytes, shared: bytes = b"") -> None:
    """ValueError where a part ends too early, or nothing is painted. `shared`: the parts in JBIG2Globals.

    What stays unseen: damage inside a part, whose arithmetic code has no bad words.
    """
    _kinds(shared)
    if not _PAINTING.intersection(_kinds(data)):
        raise ValueError("its JBIG2 data paints nothing" if data else _CUT)


def _kinds(data: bytes) -> list[int]:
    found, at = list[int](), 0
    while len(data) - at > 2 or data[at:].strip(b"\0\r\n"):
        header, size, kind = _header(data, at)
        found.append(kind)
        if size == _UNKNOWN:  # up to a mark inside, which only its decoder finds
            break
        if at + header + size > len(data):
            raise ValueError(_CUT)
        at += header + size
        if kind == _END_OF_PAGE:
            break
    return found


def _header(data: bytes, at: int) -> tuple[int, int, int]:
    """A part's header: its length, that of the part behind it, and the part's kind."""
    if at + 11 > len(data):
        raise ValueError(_CUT)
    number, flags = int.from_bytes(data[at : at + 4], "big"), data[at + 4]
    count, place = data[at + 5] >> 5, at + 6
    if count == 7:  # many references: their number in 29 bits, then a bit for each
        count = int.from_bytes(data[at + 5 : at + 9], "big") & 0x1FFFFFFF
        place = at + 9 + (count + 8) // 8
    place += count * (1 if number <= 256 else 2 if number <= 65536 else 4) + (4 if flags & 0x40 else 1)
    if place + 4 > len(data):
        raise ValueError(_CUT)
    return place + 4 - at, int.from_bytes(data[place : place + 4], "big"), flags & 63
