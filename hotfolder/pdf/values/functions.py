"""Computes the functions with which a PDF describes gradients and spot inks (ISO 32000-1 7.10), many inputs at once."""

import itertools
import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Protocol

import numpy as np
import pikepdf
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Stream

from hotfolder.pdf.objects import MOST_LEVELS, entry, number, numbers, stream_bytes, whole
from hotfolder.pdf.values.calculator import Calculator

Floats = NDArray[np.float64]
MOST_SAMPLES = 20_000_000
MOST_STEPS = 512
_HUGE = 1e30
MOST_INPUTS = 8  # Interpolation looks at 2**inputs samples.


class Function(Protocol):
    """`inputs` numbers to `outputs` numbers, for rows of an array (n, inputs) -> (n, outputs)."""

    inputs: int
    outputs: int

    def __call__(self, rows: Floats) -> Floats: ...
    def breaks(self) -> list[float]:
        """Places inside the first input's domain where the output may bend or jump."""
        ...

    def steps(self) -> list[int]:
        """In how many equal steps each input is cut, where it is a table; else 1."""
        ...


def read_function(found: object, depth: int = 0) -> Function:
    """The function a PDF object describes; several in an array give one output each. ValueError where damaged."""
    if depth > MOST_LEVELS:
        raise ValueError("functions inside functions without end")
    if isinstance(found, Array):
        if not 0 < len(found) <= 64:
            raise ValueError("a list of functions of an impossible length")
        return _Joined([read_function(one, depth + 1) for one in found])
    if isinstance(found, Name) and found == Name.Identity:
        return _Power(np.array([0.0]), np.array([1.0]), 1.0, np.array([[-1e9, 1e9]]), None)
    kind = whole(entry(found, "/FunctionType"), -1)
    domain = _pairs(entry(found, "/Domain"))
    spread = None if entry(found, "/Range") is None else _pairs(entry(found, "/Range"))
    if kind == 0:
        return _Sampled(found, domain, spread)
    if kind == 2:
        start = np.array(numbers(entry(found, "/C0", Array([0]))))
        end = np.array(numbers(entry(found, "/C1", Array([1]))), float)
        if len(start) != len(end):
            raise ValueError("a function whose ends have different lengths")
        return _Power(start, end, number(entry(found, "/N")), domain, spread)
    if kind == 3:
        return _Stitched(found, domain, spread, depth)
    if kind == 4:
        if spread is None:
            raise ValueError("a calculating function without a range")
        return _Calculated(stream_bytes(found), domain, spread)
    raise ValueError("a function of unknown kind")


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


def write_sampled(pdf: pikepdf.Pdf, table: Floats, domain: Sequence[float], sizes: Sequence[int]) -> pikepdf.Object:
    """A sampled function (7.10.2) of 16 bits: rows of `table` in 0..1, the first input running fastest."""
    stream = Stream(pdf, np.round(np.clip(table, 0, 1) * 65535).astype(">u2").tobytes())
    stream.FunctionType = 0
    stream.Domain = Array([float(x) for x in domain])
    stream.Range = Array([0, 1] * table.shape[1])
    stream.Size = Array([int(n) for n in sizes])
    stream.BitsPerSample = 16
    return pdf.make_indirect(stream)


def write_stitched(pdf: pikepdf.Pdf, parts: list[pikepdf.Object], edges: Sequence[float | Decimal]) -> pikepdf.Object:
    """Functions of domain 0..1 one after another between the edges (7.10.4)."""
    return pdf.make_indirect(
        Dictionary(
            FunctionType=3,
            Domain=Array([edges[0], edges[-1]]),
            Functions=Array(parts),
            Bounds=Array(list(edges[1:-1])),
            Encode=Array([0, 1] * len(parts)),
        )
    )


def _pairs(found: object) -> Floats:
    flat = numbers(found)
    if not flat or len(flat) % 2:
        raise ValueError("a function without a proper domain or range")
    return np.array(flat, float).reshape(-1, 2)


def _limited(values: Floats, limits: Floats | None) -> Floats:
    """Inside the range, and in any case finite: a hostile function can give any number."""
    finite = np.clip(np.nan_to_num(values), -_HUGE, _HUGE)
    return finite if limits is None else np.clip(finite, limits[:, 0], limits[:, 1])


class _Joined:
    def __init__(self, parts: list[Function]) -> None:
        if len({part.inputs for part in parts}) != 1 or any(part.outputs != 1 for part in parts):
            raise ValueError("functions that don't fit together")
        self.parts, self.inputs, self.outputs = parts, parts[0].inputs, len(parts)

    def __call__(self, rows: Floats) -> Floats:
        return np.concatenate([part(rows) for part in self.parts], axis=1)

    def breaks(self) -> list[float]:
        return sorted({place for part in self.parts for place in part.breaks()})

    def steps(self) -> list[int]:
        return [
            min(math.lcm(*several), MOST_STEPS) for several in zip(*(part.steps() for part in self.parts), strict=True)
        ]


class _Power:
    """Type 2: one input, along a power curve from C0 to C1."""

    inputs = 1

    def __init__(self, start: Floats, end: Floats, exponent: float, domain: Floats, spread: Floats | None) -> None:
        self.start, self.end, self.exponent, self.domain, self.spread = start, end, exponent, domain, spread
        self.outputs = len(start)
        _check_range(spread, self.outputs)

    def __call__(self, rows: Floats) -> Floats:
        x = np.clip(rows[:, :1], self.domain[0, 0], self.domain[0, 1])
        with np.errstate(all="ignore"):
            power = x if self.exponent == 1 else np.nan_to_num(np.power(x, self.exponent))
            values = self.start + power * (self.end - self.start)
        return _limited(values, self.spread)

    def breaks(self) -> list[float]:
        return []

    def steps(self) -> list[int]:
        return [1]


class _Stitched:
    """Type 3: one input, a different function for each part of the domain."""

    inputs = 1

    def __init__(self, found: object, domain: Floats, spread: Floats | None, depth: int) -> None:
        listed = entry(found, "/Functions")
        if not isinstance(listed, Array) or not 0 < len(listed) <= 4096:
            raise ValueError("a stitched function without parts")
        self.parts = [read_function(part, depth + 1) for part in listed]
        self.bounds = np.array(numbers(entry(found, "/Bounds"), len(self.parts) - 1), float)
        self.encode = np.array(numbers(entry(found, "/Encode"), 2 * len(self.parts)), float).reshape(-1, 2)
        self.domain, self.spread, self.outputs = domain, spread, self.parts[0].outputs
        if any(part.inputs != 1 or part.outputs != self.outputs for part in self.parts):
            raise ValueError("a stitched function whose parts don't fit together")
        self.edges = np.concatenate([domain[0, :1], self.bounds, domain[0, 1:]])
        if (np.diff(self.edges) < 0).any():
            raise ValueError("a stitched function whose parts are out of order")
        _check_range(spread, self.outputs)

    def __call__(self, rows: Floats) -> Floats:
        x = np.clip(rows[:, 0], self.domain[0, 0], self.domain[0, 1])
        which = np.searchsorted(self.bounds, x, side="right")
        out = np.zeros((len(x), self.outputs))
        for index in np.unique(which):
            mine = which == index
            width = self.edges[index + 1] - self.edges[index]
            slope = (self.encode[index, 1] - self.encode[index, 0]) / width if width > 0 else 0.0
            out[mine] = self.parts[index]((self.encode[index, 0] + (x[mine] - self.edges[index]) * slope)[:, None])
        return _limited(out, self.spread)

    def breaks(self) -> list[float]:
        places = set(self.bounds.tolist())
        for index, part in enumerate(self.parts):
            low, high = self.encode[index]
            if high != low:
                width = self.edges[index + 1] - self.edges[index]
                inner = [self.edges[index] + (place - low) / (high - low) * width for place in part.breaks()]
                places |= {float(x) for x in inner if self.edges[index] < x < self.edges[index + 1]}
        return sorted(places)

    def steps(self) -> list[int]:
        return [1]


class _Sampled:
    """Type 0: a table, between whose entries lines are drawn."""

    def __init__(self, found: object, domain: Floats, spread: Floats | None) -> None:
        if spread is None:
            raise ValueError("a sampled function without a range")
        self.domain, self.spread = domain, spread
        self.inputs, self.outputs = len(domain), len(spread)
        self.sizes = [int(n) for n in numbers(entry(found, "/Size"), self.inputs)]
        bits = whole(entry(found, "/BitsPerSample"))
        count = int(np.prod([float(n) for n in self.sizes])) * self.outputs
        if self.inputs > MOST_INPUTS or min(self.sizes) < 1 or count > MOST_SAMPLES or bits not in _BITS:
            raise ValueError("a sampled function of an impossible size")
        data = stream_bytes(found)
        if len(data) < (count * bits + 7) // 8:
            raise ValueError("a sampled function whose table is cut short")
        self.table = unpack(data, bits, count).reshape(*self.sizes[::-1], self.outputs) / (2.0**bits - 1)
        whole_table = Array([x for n in self.sizes for x in (0, n - 1)])
        self.encode = np.array(numbers(entry(found, "/Encode", whole_table), 2 * self.inputs), float).reshape(-1, 2)
        decode = entry(found, "/Decode")
        self.decode = spread if decode is None else _pairs(decode)
        if len(self.decode) != self.outputs:
            raise ValueError("a sampled function whose parts don't fit together")

    def __call__(self, rows: Floats) -> Floats:
        x = np.clip(rows, self.domain[:, 0], self.domain[:, 1])
        width = np.where(self.domain[:, 1] > self.domain[:, 0], self.domain[:, 1] - self.domain[:, 0], 1)
        place = self.encode[:, 0] + (x - self.domain[:, 0]) * (self.encode[:, 1] - self.encode[:, 0]) / width
        place = np.clip(place, 0, np.array(self.sizes) - 1)
        low = np.minimum(np.floor(place).astype(int), np.maximum(np.array(self.sizes) - 2, 0))
        share = place - low
        out = np.zeros((len(x), self.outputs))
        for corner in itertools.product((0, 1), repeat=self.inputs):
            weight, index = np.ones(len(x)), []
            for axis, side in enumerate(corner):
                weight = weight * (share[:, axis] if side else 1 - share[:, axis])
                index.append(np.minimum(low[:, axis] + side, self.sizes[axis] - 1))
            out += weight[:, None] * self.table[tuple(index[::-1])]
        return _limited(self.decode[:, 0] + out * (self.decode[:, 1] - self.decode[:, 0]), self.spread)

    def breaks(self) -> list[float]:
        """Corners of a coarse table; a fine one is as good as smooth."""
        first, last = self.encode[0]
        if self.inputs != 1 or self.sizes[0] > 64 or first == last:
            return []
        low, high = self.domain[0]
        places = [low + (k - first) / (last - first) * (high - low) for k in range(self.sizes[0])]
        return [float(x) for x in places if low < x < high]

    def steps(self) -> list[int]:
        spans = abs(self.encode[:, 1] - self.encode[:, 0])
        return [int(span) if 1 <= span <= MOST_STEPS and span == int(span) else 1 for span in spans]


class _Calculated:
    """Type 4: a small program."""

    def __init__(self, source: bytes, domain: Floats, spread: Floats) -> None:
        self.domain, self.spread = domain, spread
        self.inputs, self.outputs = len(domain), len(spread)
        self.calculator = Calculator(source)

    def __call__(self, rows: Floats) -> Floats:
        x = np.clip(rows, self.domain[:, 0], self.domain[:, 1])
        stack = self.calculator.run([x[:, i] for i in range(self.inputs)], len(x))
        if len(stack) < self.outputs:
            raise ValueError("a calculating function that leaves too few numbers")
        return _limited(np.stack(stack[len(stack) - self.outputs :], axis=1), self.spread)

    def breaks(self) -> list[float]:
        return []

    def steps(self) -> list[int]:
        return [1] * self.inputs


def _check_range(spread: Floats | None, outputs: int) -> None:
    if spread is not None and len(spread) != outputs:
        raise ValueError("a function whose range has the wrong length")


_BITS = (1, 2, 4, 8, 12, 16, 24, 32)


def unpack(raw: bytes, bits: int, count: int) -> Floats:
    """`count` unsigned numbers of so many bits, packed without gaps; missing ones are 0."""
    need = (count * bits + 7) // 8
    raw = raw[:need].ljust(need, b"\0")
    if bits in (8, 16, 32):
        return np.frombuffer(raw, f">u{bits // 8}", count).astype(np.float64)
    flat = np.unpackbits(np.frombuffer(raw, np.uint8))[: count * bits].reshape(-1, bits)
    out = np.zeros(count)
    for column in range(bits):
        out = out * 2 + flat[:, column]
    return out
