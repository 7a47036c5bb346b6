"""Looks at how a function is described (ISO 32000-1 7.10), without computing it."""

import hashlib

from pikepdf import Array, Dictionary, Object, Stream

from hotfolder.pdf.objects import MOST_LEVELS, entry, number, stream_bytes, whole


def joined_by_curves(found: object, depth: int = 0) -> bool:
    """Whether a table of more than two steps asks for cubic splines between its entries (Order 3, table 39).

    Most programs draw lines all the same, as this module does; some draw curves.
    """
    if depth > MOST_LEVELS:
        return False
    if isinstance(found, Array):
        return any(joined_by_curves(one, depth + 1) for one in found)
    kind = whole(entry(found, "/FunctionType"), -1)
    if kind == 3:
        return joined_by_curves(entry(found, "/Functions"), depth + 1)
    sizes = entry(found, "/Size")
    fine = isinstance(sizes, Array) and any(number(size, 0.0) > 2 for size in sizes)
    return kind == 0 and fine and whole(entry(found, "/Order"), 1) == 3


def fingerprint(found: object, depth: int = 0) -> bytes:
    """Equal for functions that are described alike, wherever they stand. ValueError where damaged."""
    if depth > MOST_LEVELS:
        raise ValueError("functions inside functions without end")
    mixed = hashlib.sha256(type(found).__name__.encode())
    if isinstance(found, Array):
        for item in found:
            mixed.update(fingerprint(item, depth + 1))
    elif isinstance(found, Dictionary | Stream):
        for key in sorted(found.keys()):
            if key not in ("/Length", "/Filter", "/DecodeParms"):
                mixed.update(key.encode("utf-8", "surrogateescape") + fingerprint(found[key], depth + 1))
        if isinstance(found, Stream):
            mixed.update(stream_bytes(found))
    else:
        mixed.update(found.unparse() if isinstance(found, Object) else repr(found).encode())
    return mixed.digest()
