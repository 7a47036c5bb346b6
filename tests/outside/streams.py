"""Makes drawing instructions of every kind that ISO 32000-1 allows, laid out as oddly as it allows (7.2, 7.3, 7.8.2).

Each operation is drawn from its kind and a number: hypothesis shrinks a failing stream by leaving operations out.
"""

from __future__ import annotations

import base64
import os
import random
import zlib
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st

Draw = random.Random


def examples(count: int) -> Any:
    """The same examples at each run; as many others as HOTFOLDER_EXAMPLES asks for by hand."""
    asked = os.environ.get("HOTFOLDER_EXAMPLES")
    return settings(
        max_examples=int(asked) if asked else count,
        derandomize=not asked,
        deadline=None,
        database=None,
        phases=[Phase.generate, Phase.shrink],
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much],
    )


class Operation(NamedTuple):
    """One operator, its operands as written, and for BI the picture's data behind its entries."""

    operator: bytes
    operands: tuple[bytes, ...] = ()


class Laid(NamedTuple):
    """A stream as bytes, what stands in it (operator, operands, start, end), and where it may be cut in two."""

    data: bytes
    placed: list[tuple[bytes, list[bytes], int, int]]
    cuts: list[int]


# Operands (7.3)


def number(r: Draw, low: float = 0, high: float = 1) -> bytes:
    """A number in one of the ways programs write it; the same to 1/8 in all."""
    value = round(r.uniform(low, high) * 8) / 8
    text = b"%d" % value if value == int(value) else b"%g" % value
    sign, digits = (b"-", text[1:]) if text.startswith(b"-") else (r.choice([b"", b"", b"", b"+"]), text)
    if digits.startswith(b"0."):
        digits = r.choice([digits, digits[1:]])
    elif b"." not in digits:
        digits = r.choice([digits, digits, digits + b".", digits + b".000", b"00" + digits])
    return sign + digits


def numbers(r: Draw, count: int, low: float = 0, high: float = 1) -> tuple[bytes, ...]:
    return tuple(number(r, low, high) for _ in range(count))


_IN_STRINGS = [b"a", b"W ", b"1 0 0 rg", b"EI", b" Q ", b"%", b"<<", b"/N", b"[", b"]", b">", b"\\(", b"\\)", b"\\\\"]
_IN_STRINGS += [b"\\\n", b"\\\r\n", b"\\101", b"\\7", b"\\n", b"\\z", b"(in (side))", b"()", b"\r", b"\0", b"\x80\xff", b"(%"
                b"\n)"]  # fmt: skip


def string(r: Draw) -> bytes:
    if r.random() < 0.3:
        digits = "".join(r.choice("0123456789abcdefABCDEF \n") for _ in range(r.randrange(9)))
        return b"<%s>" % digits.encode()
    return b"(%s)" % b"".join(r.choice(_IN_STRINGS) for _ in range(r.randrange(6)))


def value(r: Draw, depth: int = 0) -> bytes:
    """Any direct object; lists hold comments and odd white space too."""
    kind = r.randrange(8 if depth < 3 else 5)
    if kind < 5:
        names = [b"/Span", b"/A#20b", b"/", b"/rg", b"/EI"]
        words = [b"true", b"false", b"null"]
        return [number(r, -99, 99), string(r), r.choice(names), number(r), r.choice(words if depth else names)][kind]
    if kind == 5:
        parts = [value(r, depth + 1) for _ in range(r.randrange(4))]
        return b"[" + joined(r, parts) + b"]"
    return properties(r, depth + 1)


def properties(r: Draw, depth: int = 1) -> bytes:
    keys = r.sample([b"/MCID", b"/Lang", b"/rg", b"/K#31", b"/E"], r.randrange(4))
    parts = [part for key in keys for part in (key, value(r, depth))]
    return b"<<" + joined(r, parts) + b">>"


_DELIMITERS = b"()<>[]{}/%"
_COMMENTS = [b"% plain\n", b"%\r", b"%1 0 0 rg (\n", b"%%EI ]>> \\\r\n", b"% q BI ID\n"]


def space(r: Draw, before: bytes, after: bytes) -> bytes:
    """White space or a comment, or nothing where the tokens stay apart without (7.2.3)."""
    apart = not before or not after or after[0] in _DELIMITERS or (before[-1] in _DELIMITERS and before[-1:] != b"/")
    pick = r.random()
    if apart and pick < 0.4:
        return b""
    if pick < 0.08:
        return r.choice([b"", b" ", b"\r\n"]) + r.choice(_COMMENTS)
    return b"".join(r.choice([b" ", b" ", b"\n", b"\r", b"\t", b"\f", b"\0"]) for _ in range(r.choice([1, 1, 1, 2, 4])))


def joined(r: Draw, parts: list[bytes]) -> bytes:
    out = b""
    for part in parts:
        out += space(r, out, part) + part
    return out


# Operators, by what they do (8.2, table 51)

SPACES = {b"/Rgb": 3, b"/Icc": 3, b"/Cal": 3, b"/CalG": 1, b"/Lab": 3, b"/Idx": 1, b"/Spot": 1, b"/Duo": 2,
          b"/DeviceGray": 1, b"/DeviceRGB": 3, b"/DeviceCMYK": 4}  # fmt: skip
_PAINTS = (b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*", b"S", b"s")


def device_colour(r: Draw) -> Iterator[Operation]:
    operator, count = r.choice([(b"g", 1), (b"rg", 3), (b"k", 4), (b"G", 1), (b"RG", 3), (b"K", 4)])
    yield Operation(operator, numbers(r, count))


def named_colour(r: Draw) -> Iterator[Operation]:
    name, count = r.choice(list(SPACES.items()))
    stroke = r.random() < 0.4
    yield Operation(b"CS" if stroke else b"cs", (name,))
    if r.random() < 0.3:
        yield from rectangle(r)  # with the colour that choosing the space sets
    for _ in range(r.choice([0, 1, 1, 2])):
        low, high = (-50, 100) if name == b"/Lab" else (0, 3) if name == b"/Idx" else (0, 1)
        operands = (b"%d" % r.randrange(4),) if name == b"/Idx" else numbers(r, count, low, high)
        yield Operation(r.choice([b"SC", b"SCN"] if stroke else [b"sc", b"scn"]), operands)


def pattern(r: Draw) -> Iterator[Operation]:
    stroke = r.random() < 0.3
    kind = r.randrange(3)
    yield Operation(b"CS" if stroke else b"cs", (b"/Under" if kind == 0 else b"/Pattern",))
    operands = (*numbers(r, 3), b"/Cell") if kind == 0 else ((b"/Tile" if kind == 1 else b"/Fade"),)
    yield Operation(b"SCN" if stroke else b"scn", operands)
    yield from rectangle(r)


def rectangle(r: Draw) -> Iterator[Operation]:
    yield Operation(b"re", (*numbers(r, 2, 0, 60), *numbers(r, 2, 5, 40)))
    yield Operation(r.choice(_PAINTS))


def path(r: Draw) -> Iterator[Operation]:
    yield Operation(b"m", numbers(r, 2, 0, 90))
    for _ in range(r.randrange(1, 5)):
        operator, count = r.choice([(b"l", 2), (b"c", 6), (b"v", 4), (b"y", 4), (b"h", 0), (b"l", 2)])
        yield Operation(operator, numbers(r, count, 0, 90))
    if r.random() < 0.15:
        yield Operation(r.choice([b"W", b"W*"]))
    yield Operation(r.choice((*_PAINTS, b"n")))


def text(r: Draw) -> Iterator[Operation]:
    yield Operation(b"BT")
    yield Operation(b"Tf", (r.choice([b"/F1", b"/F1", b"/Drawn"]), number(r, 4, 20)))
    yield Operation(b"Td", numbers(r, 2, 0, 80))
    for _ in range(r.randrange(1, 4)):
        kind = r.randrange(9)
        if kind == 0:
            yield from device_colour(r)
        elif kind == 1:
            yield Operation(
                b"TJ", (b"[" + joined(r, [r.choice([string(r), number(r, -99, 99)]) for _ in range(3)]) + b"]",)
            )
        elif kind == 2:
            yield Operation(b"'", (string(r),))
        elif kind == 3:
            yield Operation(b'"', (number(r), number(r), string(r)))
        elif kind == 4:
            yield Operation(b"Tm", (*numbers(r, 4, -1, 1), *numbers(r, 2, 0, 80)))
        elif kind == 5:
            yield Operation(r.choice([b"Tc", b"Tw", b"TL", b"Ts"]), (number(r),))
        elif kind == 6:
            yield Operation(b"Tr", (b"%d" % r.randrange(4),))
        else:
            yield Operation(b"Tj", (string(r),))
    yield Operation(b"T*")
    yield Operation(b"ET")


def state(r: Draw) -> Iterator[Operation]:
    yield r.choice(
        [
            Operation(b"w", (number(r, 0, 5),)),
            Operation(b"J", (b"1",)),
            Operation(b"d", (b"[" + joined(r, list(numbers(r, 2, 1, 5))) + b"]", number(r))),
            Operation(b"M", (b"4",)),
            Operation(b"i", (b"50",)),
            Operation(b"ri", (b"/RelativeColorimetric",)),
            Operation(b"gs", (r.choice([b"/Half", b"/Over", b"/Multiply"]),)),
        ]
    )


def moved(r: Draw) -> Iterator[Operation]:
    yield Operation(b"cm", (*r.choice([(b"1", b"0", b"0", b"1"), (b".5", b"0", b"0", b".5"), (b"0", b"1", b"-1", b"0")]),
                            *numbers(r, 2, 0, 30)))  # fmt: skip


def drawn(r: Draw) -> Iterator[Operation]:
    name = r.choice([b"/Photo", b"/Form", b"/Borrows", b"/Stencil"])
    yield Operation(b"q")
    if name in (b"/Photo", b"/Stencil"):
        yield Operation(b"cm", (b"40", b"0", b"0", b"30", *numbers(r, 2, 0, 60)))
    yield Operation(b"Do", (name,))
    yield Operation(b"Q")


def gradient(r: Draw) -> Iterator[Operation]:
    yield Operation(b"q")
    yield Operation(b"re", (*numbers(r, 2, 0, 60), *numbers(r, 2, 5, 40)))
    yield Operation(b"W")
    yield Operation(b"n")
    yield Operation(b"sh", (b"/Blend",))
    yield Operation(b"Q")


_TRAPS = [b" EI ", b"\nEI\n", b"EI", b" EI\x80", b" Q\n", b"ID ", b"(", b">>", b"\0EI\0", b"\xff\xd8"]


def inline_picture(r: Draw) -> Iterator[Operation]:
    """An inline picture (8.9.7), its bytes full of what looks like its end."""
    wide, high = r.randrange(1, 9), r.randrange(1, 5)
    kind = r.randrange(4)
    row = [(wide + 7) // 8, wide, wide * 3, wide][kind]
    facts = [b"/IM true", b"/CS/G/BPC 8", b"/CS /RGB /BPC 8", b"/ColorSpace/Idx/BitsPerComponent 8"][kind]
    raw = b"".join(r.choice(_TRAPS) if r.random() < 0.5 else r.randbytes(3) for _ in range(row * high))[: row * high]
    if kind == 3:
        raw = bytes(byte % 4 for byte in raw)
    packing = r.randrange(5)
    packed = [raw, zlib.compress(raw), raw.hex().encode() + b">", base64.a85encode(raw) + b"~>", b""][packing]
    name = [b"", b"/F/Fl", b"/F /AHx", b"/Filter[/A85]", b"/F/RL"][packing]
    if packing == 4:  # runs of bytes as they are (7.4.5)
        packed = (
            b"".join(bytes([len(raw[at : at + 128]) - 1]) + raw[at : at + 128] for at in range(0, len(raw), 128))
            + b"\x80"
        )
    entries = joined(
        r, [b"/W %d" % wide, b"/H %d" % high, facts, name] if name else [b"/W %d" % wide, b"/Height %d" % high, facts]
    )
    yield Operation(b"q")
    yield Operation(b"cm", (b"40", b"0", b"0", b"30", *numbers(r, 2, 0, 60)))
    yield Operation(b"BI", (r.choice([b" ", b"\n", b""]) + entries + r.choice([b" ", b"\n", b"%x\n"]), packed))
    yield Operation(b"Q")


def marked(r: Draw) -> Iterator[Operation]:
    if r.random() < 0.3:
        yield Operation(r.choice([b"MP", b"BMC"]), (b"/Tag",))
    else:
        yield Operation(r.choice([b"DP", b"BDC"]), (b"/Span", r.choice([properties(r), b"/Props"])))
    if r.random() < 0.5:
        yield from rectangle(r)
    yield Operation(b"EMC")


def unknown(r: Draw) -> Iterator[Operation]:
    """What a later PDF may know, between BX and EX (7.8.2)."""
    yield Operation(b"BX")
    yield Operation(
        r.choice([b"rgb", b"kk", b"q1", b"Do2", b"cmx", b"foo"]), tuple(value(r) for _ in range(r.randrange(3)))
    )
    yield Operation(b"EX")


def saved(r: Draw) -> Iterator[Operation]:
    yield Operation(b"q")


def restored(r: Draw) -> Iterator[Operation]:
    yield Operation(b"Q")


KINDS: tuple[Callable[[Draw], Iterator[Operation]], ...] = (
    device_colour, named_colour, pattern, rectangle, path, text, state, moved, drawn, gradient, inline_picture,
    marked, unknown, saved, restored,
)  # fmt: skip


def lay_out(operations: list[Operation], r: Draw) -> Laid:
    data, placed, cuts = bytearray(), [], [0]
    for operation in operations:
        if operation.operator == b"BI":
            entries, picture = operation.operands
            data += space(r, bytes(data[-1:]), b"BI")
            start = len(data)
            data += b"BI" + entries + b"ID" + r.choice([b" ", b"\n"])
            data += picture + b"\n"
            data += b"EI"
            placed.append((b"BI", [entries, picture + b"\n"], start, len(data)))
            data += r.choice([b" ", b"\n"])
        else:
            tokens, start = [*operation.operands, operation.operator], -1
            for token in tokens:
                data += space(r, bytes(data[-1:]), token)
                cuts.append(len(data))
                start = len(data) if start < 0 else start
                data += token
            placed.append((operation.operator, list(operation.operands), start, len(data)))
    return Laid(bytes(data), placed, cuts)


@st.composite
def streams(draw: st.DrawFn) -> Laid:
    """Whole streams: `q` and `Q` balanced, everything else as it comes."""
    chosen = draw(st.lists(st.tuples(st.sampled_from(KINDS), st.integers(0, 2**32 - 1)), max_size=14))
    operations, open_ = [], 0
    for kind, seed in chosen:
        if kind is restored and not open_:
            continue
        open_ += {saved: 1, restored: -1}.get(kind, 0)
        operations += kind(Draw(seed))
    return lay_out(operations + [Operation(b"Q")] * open_, Draw(draw(st.integers(0, 2**32 - 1))))
