"""Follows the code of a fax picture (ITU-T T.4, T.6; ISO 32000-1 7.4.6), row by row, to see whether all of it is there."""

from dataclasses import dataclass

from hotfolder.pdf.objects import entry, whole
from hotfolder.pdf.pictures.fax_codes import HORIZONTAL, MODES, PASS, RUNS, WINDOW

MOST_LOOKED_AT = 2 * 2**20  # bytes: some seconds of following
_MASK: int = 2**WINDOW - 1


@dataclass(frozen=True, slots=True)
class FaxFacts:
    """The filter's parameters (table 11): K below 0 is T.6, 0 is T.4 in one dimension, above 0 in two."""

    k: int
    columns: int
    aligned: bool


def read_fax_facts(parameters: object) -> FaxFacts:
    aligned = entry(parameters, "/EncodedByteAlign") is True
    return FaxFacts(whole(entry(parameters, "/K"), 0), max(1, whole(entry(parameters, "/Columns"), 1728)), aligned)


def check_fax(data: bytes, parameters: object, rows: int) -> None:
    """ValueError where the code breaks off, or is none, before so many rows are complete.

    What stays unseen: damage that turns valid code into other valid code; anything in data too long to be followed.
    """
    if len(data) <= MOST_LOOKED_AT:
        _Follower(data, read_fax_facts(parameters)).follow(rows)


class _Follower:
    """Where in the code we are, in bits."""

    def __init__(self, data: bytes, facts: FaxFacts) -> None:
        self.data: bytes = data + bytes(8)
        self.facts = facts
        self.end: int = 8 * len(data)
        self.at: int = 0

    def follow(self, rows: int) -> None:
        above: list[int] = []
        for row in range(rows):
            if self.facts.aligned:
                self.at = -(-self.at // 8) * 8
            flat = self._begin()
            if self.at >= self.end or flat is None:
                raise ValueError(f"its fax data ends after {row} of {rows} rows")
            try:
                above = self._flat() if flat else self._below(above)
            except ValueError as fault:
                ended = self.at + WINDOW > self.end
                why = f"ends in row {row + 1} of {rows}" if ended else f"is damaged in row {row + 1} of {rows}"
                raise ValueError(f"its fax data {why}") from fault

    def _begin(self) -> bool | None:
        """Passes over the marks before a row. Whether it is coded by itself; None at the end of all rows."""
        k, marks = self.facts.k, 0
        while (skipped := self._mark()) and marks < 6:
            marks += 1
            self.at += skipped
            if k > 0:
                one = self._ahead() >> (WINDOW - 1)
                self.at += 1
                if not self._mark():
                    return bool(one) if marks == 1 else None
            elif k < 0:
                return None
        return None if marks > 1 else k >= 0

    def _mark(self) -> int:
        """Bits of an end-of-line mark ahead: eleven noughts or more, and a one."""
        if self._ahead() >> 2:
            return 0
        at = self.at
        while at < self.end:
            bits = int.from_bytes(self.data[at // 8 : at // 8 + 8], "big") & ((1 << (64 - at % 8)) - 1)
            if bits:
                return at + (64 - at % 8) - bits.bit_length() + 1 - self.at
            at = at // 8 * 8 + 64
        return 0

    def _ahead(self) -> int:
        at = self.at
        return int.from_bytes(self.data[at >> 3 : (at >> 3) + 3], "big") >> (24 - WINDOW - (at & 7)) & _MASK

    def _run(self, colour: int) -> int:
        table, total = RUNS[colour], 0
        while True:
            length, bits = table[self._ahead()]
            self.at += bits
            total += length
            if not bits or self.at > self.end:
                raise ValueError
            if length < 64:
                return total

    def _flat(self) -> list[int]:
        """A row coded by itself: where its colour changes."""
        changes, at, colour, columns = list[int](), 0, 0, self.facts.columns
        while at < columns:
            at += self._run(colour)
            changes.append(at)
            colour ^= 1
        if at > columns:
            raise ValueError
        return changes

    def _below(self, above: list[int]) -> list[int]:
        """A row coded by its differences from the row above."""
        columns = self.facts.columns
        above = [*above, columns, columns, columns]
        changes, at, colour, index, last = list[int](), -1, 0, 0, len(above) - 2
        while at < columns:
            mode, bits = MODES[self._ahead()]
            self.at += bits
            if not bits or self.at > self.end:
                raise ValueError
            # The next change above, to the right of here, to the other colour than this one.
            index = max(0, index - 2) & ~1 | colour
            while index < last and above[index] <= at:
                index += 2
            if mode == PASS:
                at = above[min(index + 1, last + 1)]
            elif mode == HORIZONTAL:
                at = max(at, 0)
                for side in (colour, colour ^ 1):
                    at += self._run(side)
                    changes.append(at)
            else:
                found = above[min(index, last + 1)] + mode
                if found < max(at, 0):
                    raise ValueError
                at = found
                changes.append(at)
                colour ^= 1
        if at > columns:
            raise ValueError
        return changes
