"""Computes the functions with which a PDF describes gradients and spot inks (ISO 32000-1 7.10), many inputs at once."""

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
import pikepdf
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Stream

from hotfolder.pdf.objects import MOST_LEVELS, entry, number, numbers, stream_bytes, whole
from hotfolder.pdf.values.calculator import Calculator
from hotfolder.pdf.values.tables import MOST_STEPS, Sampled, limited, read_pairs

Floats = NDArray[np.float64]


class Function(Protocol):
    """`inputs` numbers to `outputs` numbers, for rows of an array (n, inputs) -> (n, outputs)."""

    inputs: int
    outputs: int

    def __call__(self, rows: Floats) -> Floats: ...
    def breaks(self) -> list[float]:
        """Places inside the first input's domain where the output may bend or jump."""
        ...

    def sudden(self) -> bool:
        """Whether it may jump elsewhere too, or as good as jump: a program with a condition does."""
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
    domain = read_pairs(entry(found, "/Domain"))
    spread = None if entry(found, "/Range") is None else read_pairs(entry(found, "/Range"))
    if kind == 0:
        return Sampled(found, domain, spread)
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


def write_sampled(pdf: pikepdf.Pdf, table: Floats, domain: Sequence[float], sizes: Sequence[int]) -> pikepdf.Object:
    """A sampled function (7.10.2) of 16 bits: rows of `table` in 0..1, the first input running fastest."""
    stream = Stream(pdf, np.round(np.clip(table, 0, 1) * 65535).astype(">u2").tobytes())
    stream.FunctionType = 0
    stream.Domain = Array([float(x) for x in domain])
    stream.Range = Array([0, 1] * table.shape[1])
    stream.Size = Array([int(n) for n in sizes])
    stream.BitsPerSample = 16
    return pdf.make_indirect(stream)


def write_stitched(pdf: pikepdf.Pdf, parts: list[pikepdf.Object], edges: Sequence[float]) -> pikepdf.Object:
    """Functions of domain 0..1 one after another between the edges (7.10.4)."""
    return pdf.make_indirect(
        Dictionary(
            FunctionType=3,
            Domain=_finely([edges[0], edges[-1]]),
            Functions=Array(parts),
            Bounds=_finely(edges[1:-1]),
            Encode=Array([0, 1] * len(parts)),
        )
    )


def _finely(edges: Sequence[float]) -> pikepdf.Object:
    """Numbers as a list: pikepdf itself would round them to six decimals, too coarse for parts of a short domain."""
    return pikepdf.Object.parse(b"[%s]" % " ".join(f"{edge:.15f}" for edge in edges).encode())


class _Joined:
    def __init__(self, parts: list[Function]) -> None:
        if len({part.inputs for part in parts}) != 1 or any(part.outputs != 1 for part in parts):
            raise ValueError("functions that don't fit together")
        self.parts, self.inputs, self.outputs = parts, parts[0].inputs, len(parts)

    def __call__(self, rows: Floats) -> Floats:
        return np.concatenate([part(rows) for part in self.parts], axis=1)

    def breaks(self) -> list[float]:
        return sorted({place for part in self.parts for place in part.breaks()})

    def sudden(self) -> bool:
        return any(part.sudden() for part in self.parts)

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
        return limited(values, self.spread)

    def breaks(self) -> list[float]:
        return []

    def sudden(self) -> bool:
        return self.exponent < 1  # it begins upright

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
        return limited(out, self.spread)

    def breaks(self) -> list[float]:
        places = set(self.bounds.tolist())
        for index, part in enumerate(self.parts):
            low, high = self.encode[index]
            if high != low:
                width = self.edges[index + 1] - self.edges[index]
                inner = [self.edges[index] + (place - low) / (high - low) * width for place in part.breaks()]
                places |= {float(x) for x in inner if self.edges[index] < x < self.edges[index + 1]}
        return sorted(places)

    def sudden(self) -> bool:
        return any(part.sudden() for part in self.parts)

    def steps(self) -> list[int]:
        return [1]


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
        return limited(np.stack(stack[len(stack) - self.outputs :], axis=1), self.spread)

    def breaks(self) -> list[float]:
        return []

    def sudden(self) -> bool:
        return True

    def steps(self) -> list[int]:
        return [1] * self.inputs


def _check_range(spread: Floats | None, outputs: int) -> None:
    if spread is not None and len(spread) != outputs:
        raise ValueError("a function whose range has the wrong length")
