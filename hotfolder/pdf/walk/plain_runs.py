"""Reads long plain stretches of a drawing at once: thousands of lines and areas in plain colours, as maps and plans have.

Operator by operator, such a stretch takes longer than all else together. It is plain where it holds nothing but numbers
and operators that need no names and texts. Whatever is unusual in it (a missing number, an unknown word) ends it there,
and is left to be followed operator by operator.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hotfolder.pdf.values.spaces import Floats

Bytes = NDArray[np.uint8]
Places = NDArray[np.intp]
Flags = NDArray[np.bool_]

LEAST = 2**13  # bytes; below, following operator by operator is as quick
PIECE = 2**19  # bytes read at once: all that is worked out from them stays in the processor's own memory
MOST_DIGITS = 15  # of an operand; with more it might not be read exactly as Python reads it (2^53)

# What an operator that may stand in a run is to it.
STRANGE, NOTHING, SAVE, RESTORE, MOVE = range(5)
COLOURS = {b"g": 5, b"rg": 6, b"k": 7, b"G": 8, b"RG": 9, b"K": 10}
_NOTHING = b"m l c v y h re S s f F f* B B* b b* n W W* w J j M d i BT ET T* Tc Td TD TL Tm Tr Ts Tw Tz".split()
_ACTIONS = {**dict.fromkeys(_NOTHING, NOTHING), b"q": SAVE, b"Q": RESTORE, b"cm": MOVE, **COLOURS}
_NEEDS = np.array([0, 0, 0, 0, 6, 1, 3, 4, 1, 3, 4])  # numbers before the operator, by action
_BY_CODE = np.zeros(2**16, np.uint8)  # action of a word, by its first letter and 256 times its second
for _word, _action in _ACTIONS.items():
    _BY_CODE[int.from_bytes(_word, "little")] = _action

_SPACE, _NUMBER, _WORD, _BRACKET, _OTHER = range(5)
_SIGNS = {
    **dict.fromkeys(b"\0\t\n\f\r ", _SPACE),
    **dict.fromkeys(b"0123456789+-.", _NUMBER),
    **dict.fromkeys(b"abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ*", _WORD),
    **dict.fromkeys(b"[]", _BRACKET),
}
_KINDS = bytes(_SIGNS.get(sign, _OTHER) for sign in range(256))
_POWERS = 10.0 ** np.arange(MOST_DIGITS + 1)


@dataclass(frozen=True, slots=True)
class PlainRun:
    """A plain stretch between the ends of two operators (or from the stream's begin), and its operators that matter.

    `starts` and `ends`: where the first operand begins, where the operator ends; `values`: a colour's numbers, (n, 4).
    """

    start: int
    end: int
    actions: Bytes
    starts: Places
    ends: Places
    values: Floats

    def after(self, position: int) -> "PlainRun | None":
        """What is left of it behind one of its operators; None if none ends at this position."""
        first = int(np.searchsorted(self.starts, position))
        if position != self.start and (first == 0 or self.ends[first - 1] != position):
            return None
        rest = slice(first, None)
        return PlainRun(position, self.end, self.actions[rest], self.starts[rest], self.ends[rest], self.values[rest])


def plain_runs(data: bytes, least: int = LEAST, piece: int = PIECE) -> list[PlainRun]:
    """All plain runs of at least so many bytes, in order, none longer than a piece.

    Whether a run lies between operators, and not inside of a text or a picture, is not known here: only whoever follows
    what stands before it can tell.
    """
    if len(data) < least:
        return []
    signs, kinds = np.frombuffer(data, np.uint8), np.frombuffer(data.translate(_KINDS), np.uint8)
    breaks = np.concatenate([[-1], np.flatnonzero(kinds == _OTHER), [len(data)]])
    runs = list[PlainRun]()
    for gap in np.flatnonzero(np.diff(breaks) > least).tolist():
        position, end = int(breaks[gap]) + 1, int(breaks[gap + 1])
        joins = position == 0
        while end - position >= least:
            upto = min(position + piece, end)
            read = _Piece(signs[position:upto], kinds[position:upto])
            if len(read.words) == 0 or read.end == 0:
                break
            runs += read.runs(position, least, joins)
            position, joins = position + read.end, bool(read.actions[-1] != STRANGE)
    return runs


class _Piece:
    """A piece of a stream, its words and numbers told apart. A word that the end may have cut off is left to the next."""

    def __init__(self, signs: Bytes, kinds: Bytes) -> None:
        self.signs = signs
        bounds = np.concatenate([[0], np.flatnonzero(kinds[1:] != kinds[:-1]) + 1, [len(signs)]])
        kind = kinds[bounds[:-1]]
        tokens = np.flatnonzero((kind == _NUMBER) | (kind == _WORD))
        self.starts, self.ends = bounds[tokens], bounds[tokens + 1]
        words = np.flatnonzero(kind[tokens] == _WORD)
        self.words: Places = words[self.ends[words] < len(signs)]
        self.firsts, self.lasts = self.starts[self.words], self.ends[self.words]
        self.end = int(self.lasts[-1]) if len(self.words) else 0
        self.counts = np.diff(self.words, prepend=-1) - 1
        self.brackets = np.flatnonzero(kinds[: self.end] == _BRACKET)
        self.actions = self._actions()

    def _actions(self) -> Bytes:
        length = self.lasts - self.firsts
        second = np.where(length == 2, self.signs[self.firsts + (length > 1)], 0).astype(np.uint16)
        actions: Bytes = _BY_CODE[self.signs[self.firsts] + (second << 8)]
        actions[length > 2] = STRANGE
        touching = np.concatenate([[False], self.starts[1:] == self.ends[:-1], [False]])
        actions[touching[self.words] | touching[self.words + 1]] = STRANGE  # "0rg", "d0": one word to all readers
        if len(self.brackets) and not self._lists_are_plain():
            actions[:] = STRANGE
        return actions

    def _lists_are_plain(self) -> bool:
        """Each list closes before the next opens, with no word inside."""
        if len(self.brackets) % 2 or (self.signs[self.brackets] != np.resize(list(b"[]"), len(self.brackets))).any():
            return False
        before = np.searchsorted(self.firsts, self.brackets)
        return bool((before[::2] == before[1::2]).all())

    def runs(self, offset: int, least: int, joins: bool) -> list[PlainRun]:
        """Its plain runs. `joins`: it begins where an operator ends; else the first one's end is where a run begins."""
        matter, starts, values = self._matter()
        ends = self.lasts[matter]
        bad = np.flatnonzero(self.actions == STRANGE)
        first, last = np.append(-1, bad) + 1, np.append(bad, len(self.words)) - 1
        begin = self.lasts[np.minimum(first, len(self.words) - 1)]
        if joins:
            begin[0] = 0
        runs = list[PlainRun]()
        for i in np.flatnonzero((first <= last) & (self.lasts[last] - begin >= least)).tolist():
            inside = slice(
                int(np.searchsorted(starts, begin[i])), int(np.searchsorted(ends, self.lasts[last[i]], side="right"))
            )
            runs.append(
                PlainRun(
                    int(begin[i]) + offset,
                    int(self.lasts[last[i]]) + offset,
                    self.actions[matter[inside]],
                    starts[inside] + offset,
                    ends[inside] + offset,
                    values[inside],
                )
            )
        return runs

    def _matter(self) -> tuple[Places, Places, Floats]:
        """Which words are operators that matter, where their operands begin, and their numbers. One whose operands are
        not as they must be becomes a strange word."""
        matter = np.flatnonzero(self.actions > NOTHING)
        needs = _NEEDS[self.actions[matter]]
        fine = self.counts[matter] == needs
        if len(self.brackets):
            before = np.searchsorted(self.brackets, self.firsts)
            fine &= np.diff(before, prepend=0)[matter] == 0
        values = np.zeros((len(matter), 6))
        for need in (1, 3, 4, 6):
            chosen = np.flatnonzero(fine & (needs == need))
            tokens = self.words[matter[chosen]][:, None] + np.arange(-need, 0)
            values[chosen, :need], read = self._numbers(tokens, signed=need == 6)
            fine[chosen] = read.all(axis=1)
        self.actions[matter[~fine]] = STRANGE
        kept = matter[fine]
        return kept, self.starts[self.words[kept] - self.counts[kept]], values[fine, :4]

    def _numbers(self, tokens: Places, signed: bool) -> tuple[Floats, Flags]:
        """Numbers as `float` reads them, and which tokens are plainly written ones: digits and at most one point."""
        at, length = self.starts[tokens], (self.ends - self.starts)[tokens]
        if signed:
            sign = np.isin(self.signs[at], list(b"+-"))
            at, length = at + sign, length - sign
        value, decimals = np.zeros(at.shape), np.zeros(at.shape, np.intp)
        fine, pointed = length <= MOST_DIGITS, np.zeros(at.shape, bool)
        for place in range(min(int(length.max(initial=0)), MOST_DIGITS)):
            sign_here, inside = self.signs.take(at + place, mode="clip"), length > place
            digit = sign_here - np.uint8(48)
            is_digit, is_point = inside & (digit < 10), inside & (sign_here == 46)
            fine &= ~inside | is_digit | (is_point & ~pointed)
            pointed |= is_point
            decimals += is_digit & pointed
            value = np.where(is_digit, value * 10 + digit, value)
        value /= _POWERS[decimals]  # both exact, so the quotient is the nearest there is
        return value, fine & (length > pointed) & (value < 1e9)
