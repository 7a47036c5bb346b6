"""What the checks of a finished PDF share: a rule broken, and safe reading of what pypdf hands out."""

from __future__ import annotations

from dataclasses import dataclass

from pypdf.generic import DictionaryObject, IndirectObject

from hotfolder.finding import Box


@dataclass(frozen=True)
class Fault:
    """One rule that a finished file breaks. `page` counts from 1."""

    code: str
    message: str
    page: int | None = None
    measured: str | None = None
    required: str | None = None
    box: Box | None = None


def resolve(value: object) -> object:
    """The object itself where a reference to it is given."""
    return value.get_object() if isinstance(value, IndirectObject) else value


def dictionary(value: object) -> DictionaryObject:
    """The dictionary or stream given or referred to; an empty one for anything else."""
    found = resolve(value)
    return found if isinstance(found, DictionaryObject) else DictionaryObject()
