"""What a config file adds up to once it is understood: the studio with its routes, conditions and limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

from hotfolder.colour.condition import Condition
from hotfolder.config.lines import Lines
from hotfolder.loading import Plugins
from hotfolder.step import Step

#: A number in the config: whole or not, never text, `true`, infinite or "not a number".
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]


class Limits(BaseModel):
    """What one job may use before it is stopped and held."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    seconds: Number = Field(default=600.0, gt=0, le=86_400, description="Longest time for one job, in seconds")
    memory_mb: Annotated[int, Field(strict=True)] = Field(
        default=1500, ge=256, le=1_000_000, description="Most memory for one job, in megabytes"
    )
    disk_mb: Annotated[int, Field(strict=True)] = Field(
        default=20_000, ge=64, le=10_000_000, description="Most space on the disk for one job's own files, in megabytes"
    )
    confine: Annotated[bool, Field(strict=True)] = Field(
        default=True, description="Keep a job off the network and out of all folders but its own"
    )
    programs: Annotated[bool, Field(strict=True)] = Field(
        default=False, description="A job may start other programs, as a step of your own may need"
    )


class Keep(BaseModel):
    """How long things are kept. What is left out is kept for ever: results are their owners'."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    originals_days: Number | None = Field(
        default=90.0, ge=1, le=36_500, description="How long the original of a passed job stays in the spool, in days"
    )
    originals_mb: Number | None = Field(
        default=None, ge=1, le=1e9, description="How much room these may take, in megabytes; the oldest go first"
    )
    jobs_days: Number | None = Field(
        default=730.0, ge=1, le=36_500, description="How long the ledger remembers a job, in days"
    )
    log_mb: Number = Field(default=20.0, ge=1, le=100_000, description="Room for the daemon's own log, in megabytes")
    pass_days: Number | None = Field(
        default=None, ge=1, le=36_500, description="Results in `pass` are removed after so many days, unless changed"
    )
    hold_days: Number | None = Field(
        default=None, ge=1, le=36_500, description="What is held is removed after so many days, unless changed"
    )

    @model_validator(mode="after")
    def _check_order(self) -> Keep:
        for name, days in (("pass_days", self.pass_days), ("hold_days", self.hold_days)):
            if days is not None and self.originals_days is not None and days > self.originals_days:
                raise ValueError(
                    f"'{name}' is more than 'originals_days'; what was put where is known as long as the originals are kept"
                )
        return self


@dataclass(frozen=True, slots=True)
class Route:
    """One watched folder with its chain, its ticket and its two ways out. Times are seconds.

    The folders are None in the route that is built in: there the files are given by hand.
    """

    name: str
    watch: Path | None
    passed: Path | None
    hold: Path | None
    chain: tuple[Step, ...]
    ticket: dict[str, Any] = field(default_factory=dict)
    settle: float = 2.0
    patience: float = 300.0
    file_names: tuple[str, ...] = ()
    subfolders: str = ""


@dataclass(frozen=True, slots=True)
class Studio:
    """Everything the daemon and the commands work from. `folder` is where relative paths start."""

    file: Path | None
    folder: Path
    spool: Path
    plugins: Plugins
    conditions: dict[str, Condition]
    condition: str
    routes: tuple[Route, ...]
    workers: int = 2
    rescan: float = 10.0
    events: bool = True
    reserve_mb: float | None = None  # None: as gates.py reckons
    metrics: str = ""  # address:port
    keep: Keep = field(default_factory=Keep)
    limits: Limits = field(default_factory=Limits)
    lines: Lines = field(default_factory=Lines)

    def route(self, name: str) -> Route | None:
        return next((route for route in self.routes if route.name == name), None)

    @property
    def customers(self) -> list[Path]:
        """Folders with customers' files: a job sees its own file in them, and no other."""
        folders = [self.spool]
        for route in self.routes:
            folders += [folder for folder in (route.watch, route.passed, route.hold) if folder is not None]
        return folders

    @property
    def used_conditions(self) -> list[Condition]:
        """The printing conditions that the routes name, or the default; a ticket may still ask for others."""
        names = dict.fromkeys(str(route.ticket.get("condition") or self.condition) for route in self.routes)
        return [self.conditions[name] for name in names if name in self.conditions]
