"""Turns what pydantic found wrong with a setting into a sentence for the person who wrote it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from hotfolder.config.lines import Lines, Place
from hotfolder.names import printable
from hotfolder.suggest import nearest

_LONGEST_SHOWN = 60


def sentences(
    error: ValidationError, model: type[BaseModel], noun: str = "setting", whose: str = "Its"
) -> list[tuple[Place, str]]:
    """Each thing pydantic objects to: where it stands below the table, and a sentence."""
    return [(item["loc"], _sentence(dict(item), keys(model), noun, whose)) for item in error.errors()]


def keys(model: type[BaseModel]) -> list[str]:
    """A model's keys as they are written in a file."""
    return [info.alias or name for name, info in model.model_fields.items()]


def unknown(noun: str, word: str, known: Sequence[str], allowed: str) -> str:
    """The sentence about a word that does not exist. `allowed` introduces the list: "The steps are"."""
    every = f" {allowed} {', '.join(known)}." if known else ""
    return f"there is no {noun} {show(word)}{nearest(word, known)}{every}"


def show(value: Any) -> str:
    """A value as the person wrote it, short, on one line."""
    if isinstance(value, str):
        text = printable(value)
        return f"'{text[:_LONGEST_SHOWN]}…'" if len(text) > _LONGEST_SHOWN else f"'{text}'"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    text = str(value)
    return f"{text[:_LONGEST_SHOWN]}…" if len(text) > _LONGEST_SHOWN else text


def ended(sentence: str) -> str:
    """With its full stop."""
    return sentence if sentence.endswith((".", "?", "!")) else f"{sentence}."


def not_finite(value: Any, at: Place = ()) -> list[Place]:
    """Places of numbers that TOML can write and nobody can print with: nan and inf."""
    if isinstance(value, float):
        return [] if math.isfinite(value) else [at]
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [place for key, below in inner for place in not_finite(below, (*at, key))]


def _sentence(item: dict[str, Any], known: Sequence[str], noun: str, whose: str) -> str:
    kind, place, given = item["type"], item["loc"], item["input"]
    if kind == "extra_forbidden" and len(place) == 1:
        key = str(place[0])
        if not known:
            return f"there is no {noun} {show(key)}; it has none."
        return unknown(noun, key, known, f"{whose} {noun}s are")
    if kind == "missing":
        return f"the {noun} {_name(place)} is missing; it must be given."
    if kind == "value_error":
        return ended(f"{_name(place)} can't be used: {item['ctx']['error']}" if place else str(item["ctx"]["error"]))
    wanted = _wanted(kind, item.get("ctx", {}))
    if wanted is None:
        return ended(f"{_name(place)} can't be used: {item['msg'][:1].lower()}{item['msg'][1:]}, not {show(given)}")
    close = nearest(given, item["ctx"]["expected"].split("'")[1::2]) if kind in _CHOICES and _text(given) else "."
    return f"{_name(place)} must be {wanted}, not {show(given)}{close}"


_CHOICES = ("literal_error", "enum")
_PLAIN_TYPES = {
    "int": "a whole number",
    "float": "a number",
    "bool": "true or false",
    "string": "text in quotes",
    "list": "a list in square brackets",
    "tuple": "a list in square brackets",
    "set": "a list in square brackets",
    "frozen_set": "a list in square brackets",
    "dict": "a table",
    "model": "a table",
    "date": "a date such as 2026-11-25",
    "path": "a path as text in quotes",
}
_LIMITS = {
    "greater_than": ("gt", "more than {}"),
    "greater_than_equal": ("ge", "at least {}"),
    "less_than": ("lt", "less than {}"),
    "less_than_equal": ("le", "at most {}"),
    "multiple_of": ("multiple_of", "a multiple of {}"),
    "string_too_long": ("max_length", "at most {} characters long"),
    "string_too_short": ("min_length", "at least {} characters long"),
    "too_long": ("max_length", "a list of at most {} entries"),
    "too_short": ("min_length", "a list of at least {} entries"),
}


def _wanted(kind: str, context: dict[str, Any]) -> str | None:
    """What would have been right, to follow "must be"; None where pydantic's own words have to do."""
    if kind in _LIMITS:
        key, words = _LIMITS[kind]
        limit = context[key]
        return words.format(int(limit) if isinstance(limit, float) and limit.is_integer() else limit)
    if kind in _CHOICES:
        return f"one of {context['expected'].replace(' or ', ', ')}"
    if kind == "finite_number":
        return "a finite number"
    if kind == "string_pattern_mismatch":
        return f"text of the form {context['pattern']}"
    plain = kind
    for ending in ("_from_datetime_parsing", "_from_float", "_parsing_size", "_parsing", "_type"):
        plain = plain.removesuffix(ending)
    return _PLAIN_TYPES.get(plain)


def _name(place: Place) -> str:
    """A setting's name: 'cut_marks', or 'corners', entry 2 for what stands inside a list."""
    parts = [f"entry {part + 1}" if isinstance(part, int) else show(part) for part in place]
    return ", ".join(parts)


def _text(value: Any) -> bool:
    return isinstance(value, str)


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing to say about the config: where it stands, whose it is, and whether it stops the start."""

    place: Place
    who: tuple[str, ...]
    sentence: str
    stops: bool = True


def write(remarks: Iterable[Remark], file: Path | None, lines: Lines) -> list[str]:
    """The remarks as full sentences in the file's order: `studio.toml, line 24, route 'posters': ...`."""
    ordered = sorted(remarks, key=lambda remark: lines.of(*remark.place) or 0)
    return [_whole(remark, file, lines.of(*remark.place)) for remark in ordered]


def _whole(remark: Remark, file: Path | None, line: int | None) -> str:
    where = [printable(str(file))] if file else []
    where += [f"line {line}"] if line else []
    where += remark.who
    return f"{', '.join(where)}: {remark.sentence}" if where else f"{remark.sentence[:1].upper()}{remark.sentence[1:]}"
