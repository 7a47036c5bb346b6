"""Cuts the drawing instructions of a page into operators with their operands, and puts changed ones back.

Only what must change is replaced; every other byte stays as the artwork's program wrote it.
"""

import itertools
import math
import re
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Object, PdfError

# ISO 32000-1 7.2.2: white space, delimiters, regular characters.
_SPACE = rb"[\0\t\n\f\r ]"
REGULAR = rb"[^\0\t\n\f\r ()<>\[\]{}/%]"
# Numbers and white space: what ends in a digit runs into the next word, which then is none.
_NUMBERS = rb"(?:[-+.\d\0\t\n\f\r ]++(?<![-+.\d]))"
_STRING = rb"\((?:[^()\\]++|\\.)*+\)"
_HEX = rb"<[\da-fA-F\s]*+>"
_ARRAY = rb"\[(?:[^\[\]()<>%\\]++|" + _STRING + rb"|" + _HEX + rb")*+\]"
_TEXTS = rb"(?:" + _STRING + rb"|" + _HEX + rb"|" + _ARRAY + rb")"
TOKEN = re.compile(_SPACE + rb"*+(<<|>>|" + _HEX + rb"|%[^\r\n]*+|/" + REGULAR + rb"*+|" + REGULAR + rb"++|.)", re.S)
_STRING_PART = re.compile(rb"[^()\\]*+(?:\\.[^()\\]*+)*+([()])", re.S)
_END_OF_PICTURE = re.compile(rb"(?<=[\0\t\n\f\r >])EI(?=[\0\t\n\f\r ]|\Z)")
_NUMBER = re.compile(rb"[-+]*(\d*\.?\d*)")
_APART = frozenset([b"", *(bytes([c]) for c in b"\0\t\n\f\r ()<>[]{}/%")])
_TEXT_AHEAD = re.compile(rb"(?!\0\0\0)[\0\t\n\f\r -~]*+\Z")

_LETTERS = [bytes([c]) for c in b"abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"]
#: Not an operator of PDF: who wants it beside `m l c v y` gets those that follow one another as one operation
#: with their text as its operand, `h` included, where they are written plainly.
PATH = b"m..."
_PLAIN = rb"[\t\n\f\r ]"
_NUMBER_PLAIN = rb"[-+]?(?:\d{1,8}+(?:\.\d*+)?+|\.\d++)" + _PLAIN + rb"++"
_PAIR = _NUMBER_PLAIN + _NUMBER_PLAIN
_SEGMENT = rb"(?:%b(?:[ml]|%b(?:[vy]|%bc))|h)(?=%b|\Z)" % (_PAIR, _PAIR, _PAIR, _PLAIN)
_PATH = re.compile(rb"(?:%b*+(?>%b)){2,2000}+" % (_PLAIN, _SEGMENT))
_SHOWN = re.compile(_SPACE + rb"*+(" + _TEXTS + rb")" + _SPACE + rb"*+(T[jJ])(?!" + REGULAR + rb")", re.S)
MOST_ENDS = 10_000  # places looked at where an inline picture may end
_STEPS = 10_000  # in which colours are written, from 0 to 1
MOST_OPERANDS = 64  # ISO 32000-1 annex C: at most 32 colour components and a name.


class Operation(NamedTuple):
    """One operator: its name, its operands as written, and where it stands (first operand to operator's end)."""

    operator: bytes
    operands: list[bytes]
    start: int
    end: int


class Scanner:
    """Yields the operators that matter, running over all others at the speed of a regular expression."""

    def __init__(self, wanted: Iterable[bytes]) -> None:
        wanted = frozenset(wanted)
        self.wanted, self._path = wanted - {PATH}, PATH in wanted
        self._simple = self.wanted - {b"BI", b"true", b"false", b"null"}
        letters = {op[:1] for op in self.wanted | {b"BI"}}
        plain = b"".join(c for c in _LETTERS if c not in letters)
        kept = rb"|".join(_longest_first(self.wanted | {b"BI"}))
        other = rb"(?:[%b]%b*+|(?!(?:%b)(?!%b))[A-Za-z'\"]%b*+)" % (plain, REGULAR, kept, REGULAR, REGULAR)
        ends = rb"(?:%b++|\Z)" % _SPACE
        after_numbers = rb"%b?+%b%b" % (_NUMBERS, other, ends)
        after_texts = rb"(?:[-+.\d]++%b*+|%b%b*+){0,8}+%b%b" % (_SPACE, _TEXTS, _SPACE, other, ends)
        operand = rb"(?:%b|/%b*+%b++)" % (_NUMBERS, REGULAR, _SPACE)
        # What does not matter, as much of it as there is, and behind it an operator with plain numbers and names.
        self._next = re.compile(
            rb"%b*+(?:%b|%b)*+(?:(%b{0,8}+)([A-Za-z]%b*+))?+" % (_SPACE, after_numbers, after_texts, operand, REGULAR),
            re.S,
        )
        anything = rb"|".join(_longest_first(self.wanted))
        self._any = re.compile(rb"(?<![^\0\t\n\f\r ()<>\[\]{}])(?:" + anything + rb")(?!" + REGULAR + rb")")

    def touches(self, data: bytes) -> bool:
        """Whether any wanted operator can occur at all: may say yes wrongly (inside a text), never no wrongly."""
        return self._any.search(data) is not None

    def scan(self, data: bytes, position: int = 0) -> Iterator[Operation]:
        """All wanted operators in order, from the end of an operator on. An inline picture comes as operator BI:
        operands [its entries, its data]."""
        depth, first, opened, operands = 0, -1, 0, list[bytes]()
        paths, texts = self._path, self._simple >= {b"Tj", b"TJ"}
        following, simple, noughts = self._next.match, self._simple, b"\0" in data
        while True:
            # Most operators that matter have plain numbers and names before them: one look is enough.
            if first < 0 and (run := following(data, position)) is not None:
                before, operator = run.groups()
                if operator in simple:
                    position = run.end()
                    if paths and operator in b"ml" and (path := _PATH.match(data, run.start(1))) is not None:
                        position = path.end()
                        yield Operation(PATH, [path.group()], path.start(), position)
                        continue
                    plain = before.replace(b"\0", b" ") if noughts else before
                    yield Operation(operator, plain.split(), run.start(1), position)
                    continue
                position = run.end() if operator is None else run.start(1)
                if texts and operator is None and (shown := _SHOWN.match(data, position)) is not None:
                    position = shown.end()
                    yield Operation(shown.group(2), [shown.group(1)], shown.start(1), position)
                    continue
            found = TOKEN.match(data, position)
            if found is None:
                return
            start, end = found.span(1)
            lead = data[start]
            if lead == 0x25:  # a comment
                position = end
                continue
            if lead == 0x28:  # a text in round brackets
                end = string_end(data, start)
            position = end
            if first < 0:
                first = start
            if lead in b"[{" or data[start:end] == b"<<":
                depth += 1
                if depth == 1:
                    opened = start
            elif lead in b"]}" or data[start:end] == b">>":
                depth = max(0, depth - 1)
                if depth == 0:
                    operands.append(data[opened:end])
            elif lead in b"(/<)>" or lead in b"+-.0123456789":
                if depth == 0 and len(operands) < MOST_OPERANDS:
                    operands.append(data[start:end])
            else:
                operator = data[start:end]
                if operator == b"BI":
                    entries, picture, position = inline_picture(data, end)
                    operands, end = [entries, picture], position
                elif operator in (b"true", b"false", b"null"):
                    continue
                if operator in self.wanted:
                    yield Operation(operator, operands, first, end)
                # An operator ends a list that was never closed, as it does for other readers.
                depth, first, operands = 0, -1, []


@lru_cache(maxsize=64)
def scanner(wanted: frozenset[bytes]) -> Scanner:
    """The scanner for these operators, made once: its patterns take as long as a small page."""
    return Scanner(wanted)


def _longest_first(operators: frozenset[bytes]) -> list[bytes]:
    """The operators as patterns, so that none hides a longer one."""
    return [re.escape(operator) for operator in sorted(operators, key=lambda operator: (-len(operator), operator))]


def string_end(data: bytes, start: int) -> int:
    """Behind the closing bracket of the text that opens at `start` (brackets inside may nest, 7.3.4.2)."""
    depth, position = 0, start
    while found := _STRING_PART.match(data, position):
        position = found.end()
        depth += 1 if found.group(1) == b"(" else -1
        if depth <= 0:
            return position
    return len(data)


def inline_picture(data: bytes, start: int) -> tuple[bytes, bytes, int]:
    """The entries and data of an inline picture (8.9.7) whose BI ends at `start`, and where its EI ends."""
    position = start
    while True:
        found = TOKEN.match(data, position)
        if found is None:
            return data[start:], b"", len(data)
        position = string_end(data, found.start(1)) if found.group(1) == b"(" else found.end()
        if found.group(1) == b"ID":
            break
    entries, first = data[start : found.start(1)], position + 1
    least = first + _known_length(entries, data, first)
    ends = list(itertools.islice(_END_OF_PICTURE.finditer(data, max(first, least - 1)), MOST_ENDS))
    for end in ends:
        # The data itself may hold these letters: real ones stand where it must end, or readable operators follow.
        if first < least >= end.start() - 2 or _TEXT_AHEAD.match(data[end.end() : end.end() + 12]):
            return entries, data[first : end.start()], end.end()
    if ends:
        return entries, data[first : ends[0].start()], ends[0].end()
    return entries, data[first:], len(data)


def _known_length(entries: bytes, data: bytes, first: int) -> int:
    """How many bytes the picture has at least, where that can be known: not with DCT, LZW and CCITT."""
    try:
        facts = inline_entries(entries)
        kinds = facts.get("/Filter")
        kind = kinds[0] if isinstance(kinds, Array) and len(kinds) else kinds
        if kind is None and isinstance(facts.get("/ColorSpace", Name.DeviceGray), Name):
            parts = {"/DeviceRGB": 3, "/DeviceCMYK": 4}.get(str(facts.get("/ColorSpace")), 1)
            bits = 1 if bool(facts.get("/ImageMask")) else int(facts.get("/BitsPerComponent", 8))
            size = (int(facts["/Width"]) * parts * bits + 7) // 8 * int(facts["/Height"])
            return size if 0 <= size <= len(data) - first else 0
        measure = _LENGTHS.get(str(kind))
        return measure(data, first) if measure is not None else 0
    except (KeyError, TypeError, ValueError, zlib.error):
        return 0


def _deflated(data: bytes, first: int) -> int:
    worker = zlib.decompressobj()
    for at in range(first, len(data), 65536):
        worker.decompress(data[at : at + 65536])
        if worker.eof:
            return min(at + 65536, len(data)) - len(worker.unused_data) - first
    return 0


def _run_lengths(data: bytes, first: int) -> int:
    """7.4.5: a byte that counts what follows, until 128."""
    at = first
    while at < len(data):
        count = data[at]
        at += 1 if count == 128 else 2 if count > 128 else count + 2
        if count == 128:
            return at - first
    return 0


def _until(sign: bytes) -> Callable[[bytes, int], int]:
    return lambda data, first: max(0, data.find(sign, first) + len(sign) - first)


_LENGTHS: dict[str, Callable[[bytes, int], int]] = {
    "/FlateDecode": _deflated,
    "/RunLengthDecode": _run_lengths,
    "/ASCIIHexDecode": _until(b">"),
    "/ASCII85Decode": _until(b"~>"),
}


# ISO 32000-1 tables 93 and 94: the short names that only inline pictures may use.
_KEYS = {
    "BPC": "BitsPerComponent",
    "CS": "ColorSpace",
    "D": "Decode",
    "DP": "DecodeParms",
    "F": "Filter",
    "H": "Height",
}
_KEYS |= {"IM": "ImageMask", "I": "Interpolate", "W": "Width", "L": "Length"}
_SPACES = {"G": "DeviceGray", "RGB": "DeviceRGB", "CMYK": "DeviceCMYK", "I": "Indexed"}
_FILTERS = {"AHx": "ASCIIHexDecode", "A85": "ASCII85Decode", "LZW": "LZWDecode", "Fl": "FlateDecode"}
_FILTERS |= {"RL": "RunLengthDecode", "CCF": "CCITTFaxDecode", "DCT": "DCTDecode"}


def inline_entries(entries: bytes) -> Dictionary:
    """An inline picture's entries under their long names; ValueError where they make no sense."""
    try:
        short = Object.parse(b"<<" + entries + b">>")
    except PdfError as fault:
        raise ValueError(f"its entries can't be read ({fault})") from fault
    if not isinstance(short, Dictionary):
        raise ValueError("its entries can't be read")
    full = Dictionary()
    for key in short.keys():  # noqa: SIM118
        value, long = short[key], "/" + _KEYS.get(key[1:], key[1:])
        table = {"/ColorSpace": _SPACES, "/Filter": _FILTERS}.get(long, {})
        full[long] = Array([_long(item, table) for item in value]) if isinstance(value, Array) else _long(value, table)
    return full


def _long(value: object, table: dict[str, str]) -> object:
    return Name("/" + table[str(value)[1:]]) if isinstance(value, Name) and str(value)[1:] in table else value


def parse_number(token: bytes) -> float:
    """A number as written; what programs write wrongly ("--5", "1.2.3") as other readers take it; else ValueError.

    Exponents ("1e-5") are no part of PDF (7.3.3), and readers differ in what they make of them.
    """
    try:
        value = float(token) if token.translate(None, b"0123456789+-.") == b"" else math.nan
    except ValueError:
        found = _NUMBER.match(token)
        if found is None or found.group(1) in (b"", b"."):
            raise ValueError(f"{token[:20]!r} is no number") from None
        value = float(found.group(1)) * (-1 if token.startswith(b"-") else 1)
    if not abs(value) < 1e9:
        raise ValueError(f"{token[:20]!r} is no usable number")
    return value


def parse_numbers(operands: list[bytes], count: int) -> tuple[float, ...]:
    """The last so many operands as numbers; ValueError where they are fewer, or none."""
    if len(operands) < count:
        raise ValueError(f"it has {len(operands)} of the numbers it needs ({count})")
    if len(operands) == count and not b"".join(operands).strip(b"0123456789.-"):
        try:
            values = tuple(map(float, operands))
        except ValueError:
            pass  # "1.2.3", which `parse_number` takes as other readers do
        else:
            if -1e9 < min(values, default=0) <= max(values, default=0) < 1e9:
                return values
    return tuple(parse_number(token) for token in operands[len(operands) - count :])


def parse_name(token: bytes) -> str:
    """A name operand as pikepdf keys it ("/Im1"), its #-escapes read (7.3.5); ValueError if it is none."""
    if not token.startswith(b"/"):
        raise ValueError(f"{token[:20]!r} is no name")
    if b"#" in token:
        token = re.sub(rb"#([\da-fA-F]{2})", lambda m: bytes([int(m.group(1), 16)]), token)
    return token.decode("utf-8", "surrogateescape")


def write_name(name: str) -> bytes:
    raw = name.encode("utf-8", "surrogateescape")[1:]
    return b"/" + b"".join(bytes([c]) if 33 <= c <= 126 and c not in b"#()<>[]{}/%" else b"#%02x" % c for c in raw)


def write_numbers(values: Iterable[float]) -> bytes:
    """Numbers with four decimals at most: their rounding is a fifth of a 12-bit step, an eightieth of one of 8 bits."""
    return b" ".join([_decimal(round(value * _STEPS)) for value in values])


def write_number_rows(rows: NDArray[np.float64], operators: Sequence[bytes]) -> NDArray[np.object_]:
    """The same for many colours at once, each with an operator behind it."""
    steps = np.rint(rows * _STEPS)
    if len(rows) == 0 or steps.min() < 0 or steps.max() > 10 * _STEPS:
        texts = [write_numbers(row) + b" " + operator for row, operator in zip(rows.tolist(), operators, strict=True)]
    else:
        texts = _joined(steps.astype(np.intp), operators)
    made = np.empty(len(texts), object)
    made[:] = texts
    return made


def _joined(steps: NDArray[np.intp], operators: Sequence[bytes]) -> list[bytes]:
    """Each row's numbers and its operator, as bytes side by side: what takes up fewer than the longest is cut out."""
    words = [*dict.fromkeys(operators)]
    used = np.flatnonzero(np.bincount(steps.ravel()))
    place = np.zeros(used[-1] + 1, np.intp)
    place[used] = np.arange(len(used))
    tokens = [*(_decimal(step) + b" " for step in used.tolist()), *words]
    table = np.array(tokens)  # (tokens,) of as many bytes as the longest needs
    letters, lengths = table.view(np.uint8).reshape(len(tokens), -1), np.array([*map(len, tokens)])
    ends = np.array([len(used) + words.index(word) for word in words])[_numbered(operators, words)]
    chosen = np.concatenate([place[steps], ends[:, None]], axis=1)
    inside = np.arange(letters.shape[1]) < lengths[:, None]
    flat = letters[chosen][inside[chosen]].tobytes()
    bounds = [0, *np.cumsum(lengths[chosen].sum(axis=1)).tolist()]
    return [flat[start:end] for start, end in itertools.pairwise(bounds)]


def _numbered(operators: Sequence[bytes], words: list[bytes]) -> NDArray[np.intp]:
    numbers = {word: number for number, word in enumerate(words)}
    return np.fromiter((numbers[operator] for operator in operators), np.intp, len(operators))


@lru_cache(maxsize=2 * _STEPS)  # colours have no more different numbers; writing one takes long
def _decimal(value: int) -> bytes:
    return (b"%.4f" % (value / _STEPS)).rstrip(b"0").rstrip(b".") or b"0"


def splice(data: bytes, edits: Iterable[tuple[int, int, bytes]]) -> bytes:
    """The data with each (start, end, new) put in; edits come in order and don't overlap."""
    parts, position = [], 0
    for start, end, new in edits:
        # What took up no space before may need it now: "/A cs" may stand right behind an operator, "0 g" may not.
        if new[:1] not in _APART and data[start - 1 : start] not in _APART:
            new = b" " + new
        parts += [data[position:start], new]
        position = end
    return b"".join([*parts, data[position:]])
