"""The ticket: what was ordered for one piece of artwork, and where each of its lines came from."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer

from hotfolder.units import INCH, Length, Size, parse_size, read_size

#: So many sizes one order may name.
MOST_SIZES = 20
_BETWEEN = re.compile(r"[\s_-]*(?:[,;&+]|(?<![a-z])and(?![a-z]))[\s_-]*", re.IGNORECASE)


def _inks(value: Any) -> Any:
    """In a name or on the command line a list is written with commas."""
    if isinstance(value, str):
        return tuple(part.strip() for part in value.split(",") if part.strip())
    return value


def sizes_of(value: Any) -> tuple[Size, ...]:
    """The sizes that an order's `trim` names: `24x36in`, `18x24in and A2`, or a list. ValueError with a sentence."""
    named = [part for part in _BETWEEN.split(value) if part] if isinstance(value, str) else value
    if not isinstance(named, list | tuple) or not named:
        return (parse_size(value),) if isinstance(value, str) else (read_size(value),)
    sizes = tuple(read_size(part) for part in named)
    if len(sizes) > MOST_SIZES:
        raise ValueError(f"{len(sizes)} sizes are named; one order may name up to {MOST_SIZES}")
    for number, size in enumerate(sizes):
        if any(size.is_as_large_as(earlier) for earlier in sizes[:number]):
            raise ValueError(f"the size {size} is named twice; how many to print belongs in `copies`")
    return sizes


def _first_size(value: Any) -> Size:
    return sizes_of(value)[0]


#: What an order may say of the size: one, or several. A ticket holds one: `merge` makes a ticket for each in turn.
Trim = Annotated[Size, BeforeValidator(_first_size), PlainSerializer(str, return_type=str, when_used="json")]
Inks = Annotated[
    tuple[Annotated[str, Field(min_length=1, max_length=200)], ...], Field(max_length=32), BeforeValidator(_inks)
]


class Ticket(BaseModel):
    """What was ordered. Every key may stand in a route's `ticket` table, a name pattern or a ticket file.

    `trim` empty means: take the artwork's own trim size. Lengths are points inside, text with a unit outside.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    trim: Trim | None = Field(
        None,
        description="Finished size, such as 24x36in or A1; several, such as 18x24in and A2, make a job of each; "
        "empty: as the file says",
    )
    bleed: Length = Field(INCH / 8, description="Art beyond the trim on each side (1/8 in is common practice)")
    safe_margin: Length = Field(INCH / 2, description="What matters stays this far inside the trim (common practice)")
    pages: Annotated[int, Field(ge=1, le=10_000)] = Field(1, description="How many pages were ordered")
    least_ppi: Annotated[float, Field(gt=0, le=10_000)] = Field(
        150.0,
        description="Least resolution of a picture at final size, pixels per inch (150 for posters: common practice)",
    )
    condition: str | None = Field(None, description="Printing condition by its name; empty: the config's default")
    inks: Inks | None = Field(
        None, description='Spot inks by name, such as ["Gold"]; [] for none; empty: any, and the report names them'
    )
    client: str = Field("", max_length=200, description="Who ordered")
    title: str = Field("", max_length=200, description="What it is called")
    copies: Annotated[int, Field(ge=1)] | None = Field(None, description="How many to print; only carried along")
    due: dt.date | None = Field(None, description="When it is due; only carried along")
    viewing_distance: Length | None = Field(None, description="From how far it is looked at, such as 2000mm")


#: The keys of a ticket, the same everywhere.
KEYS: tuple[str, ...] = tuple(Ticket.model_fields)


class Source(BaseModel):
    """One place that said something about the order: weaker sources come first in a list."""

    model_config = ConfigDict(frozen=True)

    origin: str  # "route 'posters'", "the file name", "jazz.ticket.toml, line 3"
    values: dict[str, Any]


@dataclass(frozen=True)
class Merged:
    """What the sources add up to: the ticket for one of the sizes, where each key came from, and every size ordered."""

    ticket: Ticket
    origins: dict[str, str]
    sizes: tuple[Size, ...]  # empty where no size was ordered


def merge(sources: list[Source], part: int = 1) -> Merged:
    """The ticket the sources add up to, the later one winning, for the `part`-th of the sizes they name.

    pydantic.ValidationError where a value cannot be understood.
    """
    values: dict[str, Any] = {}
    origins: dict[str, str] = {}
    for source in sources:
        for key, value in source.values.items():
            values[key] = value
            origins[key] = source.origin
    ticket = Ticket(**values)
    sizes = sizes_of(values["trim"]) if ticket.trim is not None else ()
    if sizes:
        ticket = ticket.model_copy(update={"trim": sizes[min(part, len(sizes)) - 1]})
    return Merged(ticket, origins, sizes)
