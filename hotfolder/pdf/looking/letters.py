"""How far letters reach above and below the line they stand on, by what kind of letter they are.

A font says how high its capitals are and how deep its tails go (ISO 32000-1 9.8); which of its letters have tails is
the same in nearly every Latin, Greek and Cyrillic font. So no font program has to be read, and a line of capitals is
not taken to reach as deep as one with tails. Whatever is not known counts as reaching all the way.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from pikepdf import Dictionary

from hotfolder.pdf.objects import entry, number

_LOW = frozenset("acemnorsuvwxzəıαειοτυωавгежзиклмнопстхчшъыьэюя")  # as high as an x
_LOW_TAILED = frozenset("gpqyγημρру")
_COMMAS = frozenset(",;‚„")
_TAILED = frozenset("jQ()[]{}|/\\@$§¶µþßƒβζλξφχψдфцщ")
_ON_THE_LINE = frozenset("._…:")
_SMALL = frozenset("-–—~=+<>·•÷×«»‹›")  # between the line and the height of a capital
_HANGING = frozenset("'\"‘’“”*°^`´¨ªº¹²³")
_MARK_BELOW = frozenset("\u0327\u0328\u0323\u0326\u032e\u0331")
_MARK = 0.24  # of the size: an accent above a letter
_ROUND = 0.02  # round letters reach a little over the line, above and below

Reach = tuple[float, float]  # below (negative) and above the line, in parts of the size


@dataclass(frozen=True, slots=True)
class Heights:
    """Of a font's letters, in parts of the size."""

    capital: float = 0.72
    small: float = 0.52
    tail: float = -0.24

    @property
    def full(self) -> Reach:
        return self.tail, self.capital * 1.08

    def reach(self, letters: str) -> Reach:
        """How far a letter, or several that are one (ligatures), reach."""
        sides = [self._sides(*_kind(letter)) for letter in letters]
        return min(low for low, _ in sides), max(high for _, high in sides)

    def _sides(self, shape: str, above: int, below: int) -> Reach:
        low, high = {
            "blank": (0.0, 0.0),
            "low": (-_ROUND, self.small + _ROUND),
            "low tailed": (self.tail, self.small + _ROUND),
            "tailed": self.full,
            "on the line": (-_ROUND, self.small + _ROUND),
            "comma": (-0.16, self.small),
            "between": (-0.1, self.small + 0.1),
            "capital": (-_ROUND, self.capital + _ROUND),
            "ascending": (-_ROUND, self.full[1]),
        }.get(shape, (self.tail, max(self.full[1], 0.9)))
        return low + below * self.tail, high + above * _MARK


def read_heights(holder: object) -> Heights:
    """What a font's descriptor says of its letters, as far as it is possible at all."""
    found, usual = entry(holder, "/FontDescriptor"), Heights()
    if not isinstance(found, Dictionary):
        return usual
    capital = _between(entry(found, "/CapHeight"), 0.4, 1.1, usual.capital)
    small = _between(entry(found, "/XHeight"), 0.3, 0.9, usual.small * capital / usual.capital)
    return Heights(capital, min(small, capital), -_between(entry(found, "/Descent"), -0.4, -0.1, usual.tail, sign=-1))


def _between(found: object, least: float, most: float, usual: float, *, sign: int = 1) -> float:
    try:
        value = number(found) / 1000
    except ValueError:
        value = usual
    return sign * (value if least <= value <= most else usual)


@lru_cache(maxsize=10_000)
def _kind(letter: str) -> tuple[str, int, int]:
    """The shape of a letter, and whether it has a mark above and below."""
    parts = list(unicodedata.normalize("NFD", letter))
    plain, marks = parts[0], parts[1:]
    below = any(mark in _MARK_BELOW for mark in marks)
    above = any(mark not in _MARK_BELOW for mark in marks)
    return _shape(plain), int(above), int(below)


def _shape(letter: str) -> str:
    if letter.isspace():
        return "blank"
    for shape, letters in (
        ("on the line", _ON_THE_LINE),
        ("comma", _COMMAS),
        ("low", _LOW),
        ("low tailed", _LOW_TAILED),
        ("tailed", _TAILED),
        ("between", _SMALL),
        ("capital", _HANGING),
    ):
        if letter in letters:
            return shape
    if letter.isdigit() or letter.isupper():
        return "capital"
    if letter.isascii():
        return "ascending"
    return "unknown"
