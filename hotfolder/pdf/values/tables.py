"""Functions that are tables of samples (ISO 32000-1 7.10.2), between which lines are drawn."""

import itertools

import numpy as np
from numpy.typing import NDArray
from pikepdf import Array

from hotfolder.pdf.objects import entry, numbers, stream_bytes, whole

Floats = NDArray[np.float64]
MOST_SAMPLES = 20_000_000
MOST_STEPS = 512
MOST_INPUTS = 8  # Interpolation looks at 2**inputs samples.
_HUGE = 1e30


def read_pairs(found: object) -> Floats:
    """A Domain, Range, Encode or Decode array as rows of least and largest; ValueError where it is none."""
    flat = numbers(found)
    if not flat or len(flat) % 2:
        raise ValueError("a function without a proper domain or range")
    return np.array(flat, float).reshape(-1, 2)


def limited(values: Floats, limits: Floats | None) -> Floats:
    """Inside the range, and in any case finite: a hostile function can give any number."""
    finite = np.clip(np.nan_to_num(values), -_HUGE, _HUGE)
    return finite if limits is None else np.clip(finite, limits[:, 0], limits[:, 1])


class Sampled:
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
        self.decode = spread if decode is None else read_pairs(decode)
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
        return limited(self.decode[:, 0] + out * (self.decode[:, 1] - self.decode[:, 0]), self.spread)

    def breaks(self) -> list[float]:
        """Corners of a coarse table; a fine one is as good as smooth."""
        first, last = self.encode[0]
        if self.inputs != 1 or self.sizes[0] > 64 or first == last:
            return []
        low, high = self.domain[0]
        places = [low + (k - first) / (last - first) * (high - low) for k in range(self.sizes[0])]
        return [float(x) for x in places if low < x < high]

    def sudden(self) -> bool:
        return False

    def steps(self) -> list[int]:
        spans = abs(self.encode[:, 1] - self.encode[:, 0])
        return [int(span) if 1 <= span <= MOST_STEPS and span == int(span) else 1 for span in spans]


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
