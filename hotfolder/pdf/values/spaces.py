"""Reads the colour spaces of a PDF (ISO 32000-1 8.6) into plain values: what a colour's numbers mean."""

import hashlib
import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pikepdf import Array, Dictionary, Name, Object, Stream, String

from hotfolder.pdf.objects import (
    MOST_LEVELS,
    entry,
    identity,
    name,
    names,
    number,
    numbers,
    stream_bytes,
    whole,
)
from hotfolder.pdf.values.functions import Function, read_function

Floats = NDArray[np.float64]
Kind = Literal[
    "DeviceGray", "DeviceRGB", "DeviceCMYK", "CalGray", "CalRGB", "Lab", "ICCBased", "Indexed", "Separation",
    "DeviceN", "Pattern",
]  # fmt: skip
MOST_INKS = 32
_UNSHARED = itertools.count()


@dataclass(frozen=True, slots=True, eq=False)
class Space:
    """One colour space. `key` is equal for spaces that mean the same; `found` is the PDF object, if there is one."""

    kind: Kind
    n: int
    key: tuple[object, ...]
    found: object = field(default=None, repr=False)
    base: "Space | None" = None  # Indexed: of the table; Separation, DeviceN: the alternate; Pattern: underlying;
    # ICCBased: what stands in for a damaged profile
    table: Floats | None = field(default=None, repr=False)  # Indexed: (entries, base.n) in the base's own numbers
    inks: tuple[str, ...] = ()
    tint: Function | None = field(default=None, repr=False)
    profile: bytes | None = field(default=None, repr=False)
    white: tuple[float, ...] = (0.9642, 1.0, 0.8249)
    gamma: tuple[float, ...] = (1.0,)
    matrix: tuple[float, ...] = (1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0)
    limits: tuple[tuple[float, float], ...] = ()  # Lab and ICCBased: the range of each number

    def initial(self) -> tuple[float, ...]:
        """The colour that choosing the space sets (8.6.8 and the clause of each space)."""
        if self.kind in ("Separation", "DeviceN"):
            return (1.0,) * self.n
        if self.kind == "DeviceCMYK":
            return (0.0, 0.0, 0.0, 1.0)
        return tuple(min(max(0.0, low), high) for low, high in self.ranges(1))

    def ranges(self, bits: int) -> list[tuple[float, float]]:
        """Least and largest value of each number: also a picture's Decode array where none is given (table 90)."""
        if self.kind == "Indexed":
            return [(0.0, 2.0**bits - 1)]
        return list(self.limits) or [(0.0, 1.0)] * self.n

    @property
    def ink_names(self) -> tuple[str, ...]:
        """Spot or process inks named by this space or by the one its table is in."""
        return self.base.ink_names if self.kind in ("Indexed", "Pattern") and self.base else self.inks

    def lookup(self, values: Floats) -> Floats:
        """Indexed only: (n, 1) places in the table to (n, base.n) numbers of the base."""
        assert self.table is not None
        return np.asarray(self.table[np.clip(np.round(values[:, 0]), 0, len(self.table) - 1).astype(int)])

    def label(self) -> str:
        """The space as a person reads it."""
        if self.kind in ("Separation", "DeviceN"):
            return f"{self.kind} {', '.join(self.inks)}"
        if self.kind in ("Indexed", "Pattern") and self.base is not None:
            return f"{self.kind} over {self.base.label()}"
        return f"{self.kind} with {self.n} channels" if self.kind == "ICCBased" else self.kind


GRAY = Space("DeviceGray", 1, ("DeviceGray",))
RGB = Space("DeviceRGB", 3, ("DeviceRGB",))
CMYK = Space("DeviceCMYK", 4, ("DeviceCMYK",))
PATTERN = Space("Pattern", 0, ("Pattern",))
DEVICE: dict[str, Space] = {space.kind: space for space in (GRAY, RGB, CMYK)}
BY_CHANNELS = {1: GRAY, 3: RGB, 4: CMYK}
_DEFAULTS = {"DeviceGray": "/DefaultGray", "DeviceRGB": "/DefaultRGB", "DeviceCMYK": "/DefaultCMYK"}


class SpaceReader:
    """Reads colour spaces, each indirect object once. One for a whole document."""

    def __init__(self) -> None:
        self._read: dict[object, Space] = {}

    def device(self, kind: str, resources: object) -> Space:
        """A device space, or the default space that the resources put in its place (8.6.5.6)."""
        instead = entry(entry(resources, "/ColorSpace"), _DEFAULTS[kind])
        if instead is None or name(instead) == kind:
            return DEVICE[kind]
        try:
            space = self._parse(instead, None, 0)
        except ValueError:
            return DEVICE[kind]
        # A default of another number of channels, or one that is itself a table or an ink, is void.
        return space if space.n == DEVICE[kind].n and space.kind not in ("Indexed", "Pattern") else DEVICE[kind]

    def named(self, key: str, resources: object) -> Space:
        """The space that the operand of cs or an inline picture names ("/CS0", "/DeviceRGB"); ValueError if none."""
        if key[1:] in _DEFAULTS:
            return self.device(key[1:], resources)
        if key == "/Pattern":
            return PATTERN
        found = entry(entry(resources, "/ColorSpace"), key)
        if found is None:
            raise ValueError(f"the colour space {key[1:]} is missing")
        return self.read(found, resources)

    def read(self, found: object, resources: object) -> Space:
        """The space a PDF object describes; ValueError with the reason where it can't be understood."""
        return self._parse(found, resources, 0)

    def _parse(self, found: object, resources: object, depth: int) -> Space:
        if depth > MOST_LEVELS:
            raise ValueError("colour spaces inside colour spaces without end")
        if isinstance(found, Name):
            kind = name(found)
            if kind in _DEFAULTS:
                return DEVICE[kind] if resources is None else self.device(kind, resources)
            if kind == "Pattern":
                return PATTERN
            named = entry(entry(resources, "/ColorSpace"), str(found))
            if named is None:
                raise ValueError(f"the colour space {kind} is missing")
            return self._parse(named, resources, depth + 1)
        if not isinstance(found, Array) or len(found) == 0:
            raise ValueError("a colour space that is neither a name nor a list")
        place = identity(found)
        known = None if place is None else (place, self.defaults(resources))
        if known is not None and known in self._read:
            return self._read[known]
        space = self._array(found, resources, depth)
        if known is not None:
            self._read[known] = space
        return space

    def defaults(self, resources: object) -> object:
        """What the device spaces mean with these resources: part of what a shared object's result depends on."""
        spaces = entry(resources, "/ColorSpace")
        if not isinstance(spaces, Dictionary) or not any(key in spaces for key in _DEFAULTS.values()):
            return None  # as nearly everywhere: asked for at every space, so quickly told
        return tuple(self.device(kind, resources).key for kind in _DEFAULTS)

    def _array(self, found: Array, resources: object, depth: int) -> Space:
        kind = name(found[0])
        if kind in _DEFAULTS or (kind == "Pattern" and len(found) == 1):
            return self._parse(found[0], resources, depth + 1)
        needed = {"CalGray": 2, "CalRGB": 2, "Lab": 2, "ICCBased": 2, "Indexed": 4, "Separation": 4, "DeviceN": 4}
        if kind != "Pattern" and len(found) < needed.get(kind, 1 << 30):
            raise ValueError(f"an unknown or incomplete colour space ({kind or 'no name'})")
        if kind == "ICCBased":
            return self._profiled(found, resources, depth)
        if kind in ("CalGray", "CalRGB", "Lab"):
            return _calibrated(kind, found)
        if kind == "Indexed":
            return _indexed(found, self._parse(found[1], resources, depth + 1))
        if kind == "Pattern":
            base = self._parse(found[1], resources, depth + 1)
            return Space("Pattern", base.n, ("Pattern", base.key), found, base)
        return _inks(kind, found, self._parse(found[2], resources, depth + 1))

    def _profiled(self, found: Array, resources: object, depth: int) -> Space:
        stream = found[1]
        n = whole(entry(stream, "/N"), 0)
        if n not in BY_CHANNELS:
            raise ValueError(f"a colour profile for {n} channels")
        try:
            data = stream_bytes(stream)
        except ValueError:
            data = b""
        base = BY_CHANNELS[n]
        if isinstance(stream, Stream) and "/Alternate" in stream:
            try:
                other = self._parse(stream["/Alternate"], None, depth + 1)
                base = other if other.n == n and other.kind != "Pattern" else base
            except ValueError:
                pass
        span = entry(stream, "/Range")
        flat = numbers(span, 2 * n) if span is not None else []
        limits = tuple(zip(flat[::2], flat[1::2], strict=True))
        key = ("ICCBased", n, hashlib.sha256(data).digest(), limits)
        return Space("ICCBased", n, key, found, base, profile=data, limits=limits)


def _calibrated(kind: str, found: Array) -> Space:
    facts = found[1]
    white = tuple(numbers(entry(facts, "/WhitePoint"), 3))
    if kind == "Lab":
        a, b, c, d = numbers(entry(facts, "/Range", Array([-100, 100, -100, 100])), 4)
        limits = ((0.0, 100.0), (a, b), (c, d))
        return Space("Lab", 3, ("Lab", white, limits), found, white=white, limits=limits)
    if kind == "CalGray":
        gamma: tuple[float, ...] = (number(entry(facts, "/Gamma"), 1.0),)
        return Space("CalGray", 1, ("CalGray", white, gamma), found, white=white, gamma=gamma)
    gamma = tuple(numbers(entry(facts, "/Gamma", Array([1, 1, 1])), 3))
    matrix = tuple(numbers(entry(facts, "/Matrix", Array([1, 0, 0, 0, 1, 0, 0, 0, 1])), 9))
    key = ("CalRGB", white, gamma, matrix)
    return Space("CalRGB", 3, key, found, white=white, gamma=gamma, matrix=matrix)


def _indexed(found: Array, base: Space) -> Space:
    if base.kind in ("Indexed", "Pattern"):
        raise ValueError("a colour table over another colour table")
    count = min(max(whole(found[2]), 0), 255) + 1
    raw = bytes(found[3]) if isinstance(found[3], String) else stream_bytes(found[3])
    flat = np.frombuffer(raw[: count * base.n].ljust(count * base.n, b"\0"), np.uint8).reshape(count, base.n)
    low, high = np.array(base.ranges(8)).T
    table = low + flat / 255.0 * (high - low)
    key = ("Indexed", base.key, count, hashlib.sha256(flat.tobytes()).digest())
    return Space("Indexed", 1, key, found, base, table=table)


def _inks(kind: str, found: Array, base: Space) -> Space:
    inks = tuple(names(found[1]))
    if not 0 < len(inks) <= MOST_INKS or (kind == "Separation" and len(inks) != 1) or base.kind == "Pattern":
        raise ValueError("an ink space without proper names")
    tint = read_function(found[3])
    if tint.inputs != len(inks) or tint.outputs != base.n:
        raise ValueError(f"the ink {', '.join(inks)} is described for another number of channels")
    unique = identity(found[3]) or next(_UNSHARED)
    space: Kind = "Separation" if kind == "Separation" else "DeviceN"
    return Space(space, len(inks), (kind, inks, base.key, unique), found, base, inks=inks, tint=tint)


def device_name(space: Space) -> Object:
    return Name("/" + space.kind)


def indexed_object(base: Space, table: Sequence[Sequence[float]] | Floats) -> Array:
    """A colour table over a device space, rows of numbers in 0..1 (8.6.6.3)."""
    rows = np.round(np.clip(np.asarray(table), 0, 1) * 255).astype(np.uint8)
    return Array([Name.Indexed, device_name(base), len(rows) - 1, String(rows.tobytes())])
