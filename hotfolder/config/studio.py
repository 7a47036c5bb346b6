"""What a config file adds up to once it is understood: the studio with its routes, conditions and limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

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
    reserve_mb: float | None = None  # None: as gates.py reckons
    metrics: str = ""  # address:port
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
