"""Finds what a page's drawing leaves open, or closes once too often, so that it can stand inside other drawing."""

from __future__ import annotations

from hotfolder.pdf.walk.content import Scanner

_NESTING = Scanner([b"q", b"Q", b"BT", b"ET", b"BMC", b"BDC", b"EMC"])


def imbalance(data: bytes) -> tuple[list[tuple[int, int, bytes]], bytes]:
    """What restores more than it saved, as edits that take it out, and what closes that which stays open.

    Readers pass over a surplus Q; inside our own q it would undo the clip, so it goes.
    """
    surplus: list[tuple[int, int, bytes]] = []
    saved = marked = 0
    text = False
    for operation in _NESTING.scan(data):
        match operation.operator:
            case b"q":
                saved += 1
            case b"Q" if saved == 0:
                surplus.append((operation.start, operation.end, b" "))
            case b"Q":
                saved -= 1
            case b"BT" | b"ET":
                text = operation.operator == b"BT"
            case b"EMC":
                marked = max(0, marked - 1)
            case _:
                marked += 1
    return surplus, (b"ET\n" if text else b"") + b"EMC\n" * marked + b"Q\n" * saved
