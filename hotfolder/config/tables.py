"""The tables of the config file: each setting with its type, its default and what it is for."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, field_validator

from hotfolder import names
from hotfolder.colour.condition import DEFAULT
from hotfolder.config.studio import Number
from hotfolder.config.words import unknown
from hotfolder.ticket import KEYS

WholeNumber = Annotated[int, Field(strict=True)]


class Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class StudioTable(Table):
    """The top of the file."""

    spool: str = Field(default="spool", description="Folder where files stand while they are worked on")
    workers: WholeNumber = Field(default=2, ge=1, le=64, description="How many jobs are worked on at the same time")
    rescan: Number = Field(
        default=10.0, ge=0.5, le=3600, description="A full look into every watched folder each so many seconds"
    )
    events: Annotated[bool, Field(strict=True)] = Field(
        default=True, description="Hear from the system when files come; false: look at intervals only"
    )
    reserve_mb: Number | None = Field(
        default=None,
        ge=0,
        le=1e9,
        description="With less free space than this, in megabytes, nothing is taken; left out: 1 % of the disk, or "
        "what the largest waiting file may need",
    )
    metrics: str = Field(
        default="",
        pattern=r"^(|[0-9A-Za-z.:\[\]-]*:[0-9]{1,5})$",
        description="Address and port at which figures for Prometheus are to be had, such as 127.0.0.1:9464; empty: none",
    )
    plugins: list[str] = Field(default_factory=list, description="Folders with plugins of your own")
    condition: str = Field(default=DEFAULT, description="Printing condition of every job whose ticket names no other")
    keep: dict[str, Any] = Field(default_factory=dict, description="How long things are kept")
    limits: dict[str, Any] = Field(default_factory=dict, description="Limits for one job")
    conditions: dict[str, Any] = Field(default_factory=dict, description="Printing conditions by name")
    routes: dict[str, Any] = Field(default_factory=dict, description="Watched folders by name")


class RouteTable(Table):
    """One watched folder: [routes.NAME]."""

    watch: str = Field(description="Folder that is watched, with its sub-folders")
    passed: str = Field(alias="pass", description="Folder for what is ready for print")
    hold: str = Field(description="Folder for what a person must look at")
    settle: Number = Field(
        default=2.0, ge=0, le=3600, description="A file must rest so many seconds before it is taken"
    )
    patience: Number = Field(
        default=300.0, ge=1, le=86_400 * 7, description="A file still incomplete after so many seconds is held"
    )
    file_names: list[str] = Field(default_factory=list, description="Patterns that read ticket keys from file names")
    subfolders: str = Field(default="", description="Pattern that reads ticket keys from sub-folder names")
    ticket: dict[str, Any] = Field(default_factory=dict, description="What is ordered where nothing else says so")
    chain: list[Any] | None = Field(default=None, description="The steps in order; left out: the built-in poster chain")

    @field_validator("file_names")
    @classmethod
    def _check_file_names(cls, patterns: list[str]) -> list[str]:
        for pattern in patterns:
            check_pattern(pattern)
            if "/" in pattern:
                raise ValueError(f"'{pattern}' has a /; folders belong in 'subfolders'")
        return patterns

    @field_validator("subfolders")
    @classmethod
    def _check_subfolders(cls, pattern: str) -> str:
        if pattern:
            check_pattern(pattern)
        return pattern


def check_pattern(pattern: str) -> None:
    """ValueError with a sentence where a pattern such as {client}_{title}_{trim} can't be followed."""
    shown = names.printable(pattern)
    found = names.parts(pattern)
    rest = pattern
    for part in found:
        if part not in KEYS:
            raise ValueError(f"'{shown}' has the part {{{part}}}, and {_unknown_part(part)}")
        rest = rest.replace(f"{{{part}}}", "\0")
    if "{" in rest or "}" in rest:
        raise ValueError(f"'{shown}' has a brace that is not closed; write each part as {{name}}")
    if not found:
        raise ValueError(f"'{shown}' has no part in braces, such as {{client}}_{{title}}_{{trim}}")
    for part in found:
        if found.count(part) > 1:
            raise ValueError(f"'{shown}' has the part {{{part}}} twice")
    if "\0\0" in rest:
        raise ValueError(f"'{shown}' has two parts with nothing between them; put a sign such as _ there")


def _unknown_part(part: str) -> str:
    return unknown("part", part, KEYS, "The parts are")
