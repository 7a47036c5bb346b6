"""Names of inks: which are spot inks, and which are most likely the same ink written in two ways."""

from __future__ import annotations

import re
import unicodedata
from itertools import combinations

from hotfolder.ink import PageInk
from hotfolder.pdf.plates import PROCESS

_PLAIN = re.compile(r"[\W_]+")
_LEAST_LETTERS = 5  # shorter names that differ in one letter may well be two inks


def plain(name: str) -> str:
    """A name without what people write differently: case, spaces, hyphens, accents' way of being coded."""
    return _PLAIN.sub("", unicodedata.normalize("NFKC", name).casefold())


def spot_names(inks: dict[int, PageInk]) -> dict[str, int]:
    """Each spot ink that prints, with the first page (from 1) that it prints on."""
    found: dict[str, int] = {}
    for page, ink in inks.items():
        for use in ink.used:
            if use.name not in PROCESS:
                found.setdefault(use.name, page)
    return found


def alike(inks: dict[int, PageInk]) -> list[tuple[str, str]]:
    """Pairs of inks, each a plate of its own, whose names differ in their spelling only."""
    names = [*PROCESS, *spot_names(inks)]
    return [(one, other) for one, other in combinations(names, 2) if _same(one, other)]


def _same(one: str, other: str) -> bool:
    one, other = plain(one), plain(other)
    if one == other:
        return True
    if re.sub(r"\D", "", one) != re.sub(r"\D", "", other):  # "Blue 1" and "Blue 2" are two inks
        return False
    return min(len(one), len(other)) >= _LEAST_LETTERS and _one_letter_apart(one, other)


def _one_letter_apart(one: str, other: str) -> bool:
    short, long = sorted((one, other), key=len)
    if len(long) - len(short) > 1:
        return False
    at = next((place for place, (a, b) in enumerate(zip(short, long, strict=False)) if a != b), len(short))
    return short[at + (len(short) == len(long)) :] == long[at + 1 :]
