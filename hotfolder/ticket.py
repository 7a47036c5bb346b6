"""The ticket: what was ordered for one piece of artwork, and where each of its lines came from."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from hotfolder.units import INCH, Length, SheetSize


def _inks(value: Any) -> Any:
    """In a name or on the command line a list is written with commas."""
    if isinstance(value, str):
        return tuple(part.strip() for part in value.split(",") if part.strip())
    return value


Inks = Annotated[
    tuple[Annotated[str, Field(min_length=1, max_length=200)], ...], Field(max_length=32), BeforeValidator(_inks)
]


class Ticket(BaseModel):
    """What was ordered. Every key may stand in a route's `ticket` table, a name pattern or a ticket file.

    `trim` empty means: take the artwork's own trim size. Lengths are points inside, text with a unit outside.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    trim: SheetSize | None = Field(None, description="Finished size, such as 24x36in or A1; empty: as the file says")
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


def merge(sources: list[Source]) -> tuple[Ticket, dict[str, str]]:
    """The ticket the sources add up to, the later one winning, and for each key the origin that decided it.

    pydantic.ValidationError where a value cannot be understood.
    """
    values: dict[str, Any] = {}
    origins: dict[str, str] = {}
    for source in sources:
        for key, value in source.values.items():
            values[key] = value
            origins[key] = source.origin
    return Ticket(**values), origins
