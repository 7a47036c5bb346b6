"""Knows on which line of the config file each table, setting and list entry stands, so that errors can say so."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from typing import Any

#: Where something stands in the file's tree: ("routes", "posters", "chain", 3, "tolerance").
Place = tuple[str | int, ...]

_GAP = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_TEXT = re.compile(
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*'",
    re.DOTALL,
)
_PLAIN = re.compile(r"[^,\]}#\n]+")  # numbers, dates, true and false


class Lines:
    """Line numbers of everything in a TOML text. Where they can't be told for certain there are none."""

    def __init__(self, text: str = "", data: dict[str, Any] | None = None) -> None:
        """`text` must be what `data` was read from; both empty for settings that come from no file."""
        self._lines = _locate(text, data) if data else {}

    def of(self, *place: str | int) -> int | None:
        """The line of this place, or of the nearest table or list around it; None for the file as a whole."""
        for length in range(len(place), 0, -1):
            line = self._lines.get(place[:length])
            if line is not None:
                return line
        return None


def places(value: Any, at: Place = ()) -> set[Place]:
    """Every place in a tree of tables and lists."""
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = {at} if at else set()
    for key, below in inner:
        found |= places(below, (*at, key))
    return found


def _locate(text: str, data: dict[str, Any]) -> dict[Place, int]:
    try:
        lines = _Reader(text.replace("\r\n", "\n")).read()
        # A wrong line misleads more than none: the second reading must have found what tomllib found.
        return lines if lines.keys() == places(data) else {}
    except (IndexError, RecursionError, ValueError):
        return {}


class _Reader:
    """Goes through valid TOML 1.0 once and notes where each key was first named."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.breaks = [match.start() for match in re.finditer("\n", text)]
        self.found: dict[Place, int] = {}
        self.lists: dict[Place, int] = {}  # arrays of tables: how many so far

    def read(self) -> dict[Place, int]:
        table: Place = ()
        while True:
            self.skip(_GAP)
            if self.position >= len(self.text):
                return self.found
            if self.text[self.position] == "[":
                table = self.header()
            else:
                self.pair(table)

    def skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.position)
        if match is None:
            raise ValueError(f"not TOML at {self.position}")
        self.position = match.end()
        return match[0]

    def accept(self, sign: str) -> bool:
        there = self.text.startswith(sign, self.position)
        self.position += len(sign) if there else 0
        return there

    def note(self, place: Place, start: int) -> None:
        self.found.setdefault(place, bisect_right(self.breaks, start) + 1)

    def header(self) -> Place:
        start = self.position
        several = self.accept("[[")
        self.position += 0 if several else 1
        keys = self.keys()
        self.accept("]]" if several else "]")
        table: Place = ()
        for number, key in enumerate(keys):
            table = (*table, key)
            self.note(table, start)
            if number == len(keys) - 1 and several:
                self.lists[table] = self.lists.get(table, 0) + 1
            elif number == len(keys) - 1:
                self.found[table] = bisect_right(self.breaks, start) + 1  # its own header tells more than a sub-table's
            if table in self.lists:
                table = (*table, self.lists[table] - 1)
                self.note(table, start)
        return table

    def pair(self, table: Place) -> None:
        start = self.position
        for key in self.keys():
            table = (*table, key)
            self.note(table, start)
        self.accept("=")
        self.value(table)

    def keys(self) -> list[str]:
        """A dotted key, up to the sign that ends it."""
        keys = []
        while True:
            self.skip(_BLANK)
            if self.text[self.position] in "\"'":
                keys.append(str(tomllib.loads(f"key = {self.skip(_TEXT)}")["key"]))
            else:
                keys.append(self.skip(_BARE_KEY))
            self.skip(_BLANK)
            if not self.accept("."):
                return keys

    def value(self, place: Place) -> None:
        self.skip(_BLANK)
        if self.accept("["):
            self.entries(place)
        elif self.accept("{"):
            self.inline(place)
        else:
            self.skip(_TEXT if self.text[self.position] in "\"'" else _PLAIN)

    def entries(self, place: Place) -> None:
        for number in range(len(self.text)):
            self.skip(_GAP)
            if self.accept("]"):
                return
            self.note((*place, number), self.position)
            self.value((*place, number))
            self.skip(_GAP)
            self.accept(",")

    def inline(self, place: Place) -> None:
        while True:
            self.skip(_GAP)
            if self.accept("}"):
                return
            self.pair(place)
            self.skip(_GAP)
            self.accept(",")
