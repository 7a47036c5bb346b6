"""Which ticket files in a folder belong to which artwork."""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from hotfolder.ticketing import TICKET_ENDINGS


def is_ticket(name: str) -> bool:
    return name.casefold().endswith(TICKET_ENDINGS)


class Companions:
    """One folder's artwork and ticket files: `jazz.pdf` is accompanied by jazz.ticket.toml and jazz.pdf.ticket.toml."""

    def __init__(self, artwork: Iterable[str], tickets: Iterable[str]) -> None:
        self._stems = Counter(_fold(Path(name).stem) for name in artwork)
        self._tickets: dict[str, list[str]] = {}
        for name in sorted(tickets):
            self._tickets.setdefault(_base(name), []).append(name)

    def of(self, name: str) -> tuple[tuple[str, ...], frozenset[str]]:
        """The artwork's ticket files, the weaker first; and those of them that other artwork needs as well."""
        stem, whole = _fold(Path(name).stem), _fold(name)
        by_stem = self._tickets.get(stem, [])
        by_name = self._tickets.get(whole, []) if whole != stem else []
        shared = by_stem if self._stems[stem] > 1 else []
        return (*by_stem, *by_name), frozenset(shared)


def _base(ticket: str) -> str:
    folded = _fold(ticket)
    ending = next(ending for ending in TICKET_ENDINGS if folded.endswith(ending))
    return folded[: -len(ending)]


def _fold(name: str) -> str:
    """Alike for names that people take for the same: some systems write an accented letter as two signs (UAX 15)."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())
