"""Lengths and sizes as the trade writes them (0.125in, 3mm, 24x36in, A1), held in points inside the code."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BeforeValidator, PlainSerializer

from hotfolder.paper import ISO_216_MM

#: PDF default user space unit: 1/72 inch (ISO 32000-1 8.3.2.3). The inch is 25.4 mm exactly (1959 agreement).
POINTS_PER = {"in": 72.0, "mm": 72.0 / 25.4, "cm": 720.0 / 25.4, "pt": 1.0}
MM = POINTS_PER["mm"]
INCH = POINTS_PER["in"]

_NUMBER = r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_UNIT = r"(in|mm|cm|pt)"
_LENGTH = re.compile(rf"{_NUMBER}\s*{_UNIT}")
_SIZE = re.compile(rf"{_NUMBER}\s*(?:{_UNIT})?\s*[x×]\s*{_NUMBER}\s*{_UNIT}", re.IGNORECASE)
_LONGEST = 1_000_000 * MM  # a kilometre: beyond it a number is a mistake, not a poster


def parse_length(text: str) -> float:
    """Points in `0.125in`, `3mm`, `1.5cm`, `9pt`. ValueError with a sentence for anything else."""
    match = _LENGTH.fullmatch(text.strip().lower())
    if match is None:
        raise ValueError(f"'{text}' is not a length; write a number and its unit, such as 0.125in, 3mm or 9pt")
    return _within_reason(float(match[1]) * POINTS_PER[match[2]], text)


@dataclass(frozen=True, slots=True)
class Size:
    """Width and height in points, and how the person wrote it."""

    width: float
    height: float
    name: str = ""

    @property
    def area(self) -> float:
        return self.width * self.height

    def turned(self) -> Size:
        """The same sheet with its sides exchanged."""
        return Size(self.height, self.width, self.name)

    def is_as_large_as(self, other: Size) -> bool:
        """Whether both are the same sheet, upright or lying, to a hundredth of a point."""
        own, others = sorted((self.width, self.height)), sorted((other.width, other.height))
        return all(math.isclose(a, b, abs_tol=0.01) for a, b in zip(own, others, strict=True))

    def __str__(self) -> str:
        return self.name or f"{_short(self.width / MM)}x{_short(self.height / MM)}mm"


def parse_size(text: str) -> Size:
    """A sheet size: `24x36in`, `610x914mm`, or an ISO 216 name such as `A1`. ValueError with a sentence otherwise."""
    plain = text.strip()
    if plain.upper() in ISO_216_MM:
        wide, high = ISO_216_MM[plain.upper()]
        return Size(wide * MM, high * MM, plain.upper())
    match = _SIZE.fullmatch(plain)
    if match is None:
        raise ValueError(
            f"'{text}' is not a sheet size; write width x height and the unit, such as 24x36in or 610x914mm, "
            "or an ISO 216 name such as A1"
        )
    unit = match[4].lower()
    width = float(match[1]) * POINTS_PER[(match[2] or unit).lower()]
    height = float(match[3]) * POINTS_PER[unit]
    if width <= 0 or height <= 0:
        raise ValueError(f"'{text}' is not a sheet size; both sides must be longer than zero")
    return Size(
        _within_reason(width, text), _within_reason(height, text), plain.lower().replace("×", "x").replace(" ", "")
    )


def show_length(points: float) -> str:
    """A length for people, in both systems: `3.18 mm (0.125 in)`."""
    return f"{_short(points / MM)} mm ({_short(points / INCH, 3)} in)"


def show_size(width: float, height: float) -> str:
    """A sheet size for people, in both systems: `610 × 914 mm (24 × 36 in)`."""
    mm = f"{_short(width / MM, 1)} × {_short(height / MM, 1)} mm"
    return f"{mm} ({_short(width / INCH)} × {_short(height / INCH)} in)"


def _within_reason(points: float, text: str) -> float:
    if not math.isfinite(points) or points > _LONGEST:
        raise ValueError(f"'{text}' is longer than a kilometre; check the number and the unit")
    return points


def _short(number: float, digits: int = 2) -> str:
    half_up = number + 1e-9  # 3.175 mm, the metric 1/8 in, reads 3.18 and not 3.17
    text = f"{half_up:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if text in {"", "-0"} else text


def _length(value: Any) -> float:
    if isinstance(value, str):
        return parse_length(value)
    raise ValueError(f'{value!r} is not a length; write it as text with its unit, such as "0.125in" or "3mm"')


def read_size(value: Any) -> Size:
    """A size from a setting or a ticket: text, or a size already. ValueError with a sentence otherwise."""
    if isinstance(value, Size):
        return value
    if isinstance(value, str):
        return parse_size(value)
    raise ValueError(f'{value!r} is not a sheet size; write it as text, such as "24x36in" or "A1"')


def write_length(points: float) -> str:
    """The shortest way to write a length so that reading it gives the same number: `0.125in`, `3mm`, `8.1pt`."""
    for unit in ("in", "mm", "pt"):
        text = _short(points / POINTS_PER[unit], 4)
        if math.isclose(float(text) * POINTS_PER[unit], points, rel_tol=1e-9, abs_tol=1e-9):
            return f"{text}{unit}"
    return f"{points:.9f}pt"


#: Field types for settings and tickets: text with a unit outside, points inside.
Length = Annotated[float, BeforeValidator(_length), PlainSerializer(write_length, return_type=str, when_used="json")]
SheetSize = Annotated[Size, BeforeValidator(read_size), PlainSerializer(str, return_type=str, when_used="json")]
