"""What a step is: its name, its settings, what it reads and what it changes."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from typing import Any, ClassVar

from pydantic import BaseModel, ConfigDict, Field

from hotfolder.colour.condition import Condition
from hotfolder.job import Job
from hotfolder.parcel import Parcel


class Part(StrEnum):
    """The parts of artwork that a step may read or change."""

    BOXES = "boxes"
    CONTENT = "content"
    COLOUR = "colour"
    PICTURES = "pictures"
    FONTS = "fonts"
    METADATA = "metadata"
    NAME = "name"


class Settings(BaseModel):
    """Base of every step's settings: unknown keys are refused, values do not change while running."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def setting(default: Any, help: str, *, unit: str = "", **limits: Any) -> Any:
    """A settings field: default, help for people, unit, and pydantic's limits (ge, gt, le, lt, max_length ...)."""
    return Field(default, description=help, json_schema_extra={"unit": unit}, **limits)


class Step:
    """One plugin's work in a chain. Subclass it, say what it reads and changes, and write `run`.

    Three ways to end `run`: return; raise Hold (a person must look); any other exception is a fault, which holds
    the job too. A step that declares no `changes` must leave the working PDF's bytes alone: the chain compares
    them. Instances travel into worker processes, so keep nothing on them but `settings`.
    """

    name: ClassVar[str]
    reads: ClassVar[frozenset[Part]] = frozenset()
    changes: ClassVar[frozenset[Part]] = frozenset()
    mends: ClassVar[bool] = False  # a changing step that may still work on a job that is held already
    Settings: ClassVar[type[Settings]] = Settings

    def __init__(self, settings: Any = None) -> None:
        self.settings = self.Settings() if settings is None else settings

    @classmethod
    def prepare(cls, condition: Condition) -> None:
        """Do before the first job what depends on the printing condition alone. It must start no thread."""

    def run(self, job: Job) -> None:
        raise NotImplementedError

    def foretell(self, job: Job) -> None:
        """Report what would hold the job here too, without changing anything.

        Called in place of `run` where a step that changes is not run because the job is held already: its maker then
        hears of everything at once.
        """


class Opener(Step):
    """A step that turns an arrived file into the working PDF. It runs only where it recognises the file."""

    changes = frozenset(Part)

    @classmethod
    def recognises(cls, head: bytes) -> str:
        """The kind of file ("pdf", "jpeg") these first 4096 bytes begin, or "" for another opener's business."""
        raise NotImplementedError


class Delivery(Step):
    """A step that sends a finished job on. Its `run` only says so: the daemon delivers once all stands in `pass`.

    It then tries until it succeeds, never changes the outcome, and keeps no other job waiting.
    """

    def parcels(self) -> tuple[Parcel, ...]:
        """What is to be sent where."""
        raise NotImplementedError


#: What the hook `register_steps` is handed: call it with each step class.
Register = Callable[[type[Step]], None]
