"""Gathers a job's ticket: from the route, sub-folder names, the file's name, and ticket files, weakest first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Any

import pluggy
from pydantic import ValidationError

from hotfolder.finding import Finding, Hold, Level
from hotfolder.names import printable, read_folders, readings
from hotfolder.suggest import nearest
from hotfolder.ticket import KEYS, Source, Ticket, merge
from hotfolder.units import Size

#: Endings of a ticket file, after the artwork's name or its stem: jazz.pdf.ticket.toml or jazz.ticket.toml.
TICKET_ENDINGS = (".ticket.toml", ".ticket.json")
_TAKES = {
    "pages": "a whole number, at least 1",
    "copies": "a whole number, at least 1",
    "least_ppi": "a number above 0",
    "due": "a date such as 2026-11-25",
    "condition": "text in quotes",
    "inks": 'a list of names, such as ["Gold"]',
    "client": "text in quotes",
    "title": "text in quotes",
}

_MEND = "Correct the ticket file, then drop the artwork and its ticket again, together."


@dataclass
class Collected:
    """The ticket, which source decided each key, and what there was to say about it."""

    ticket: Ticket
    origins: dict[str, str]
    findings: list[Finding] = field(default_factory=list)
    sizes: tuple[Size, ...] = ()  # every size that was ordered


def collect(
    *,
    route: str,
    table: Mapping[str, Any],
    subfolders: str,
    subfolder: str,
    file_names: Sequence[str],
    name: str,
    ticket_files: Sequence[Path],
    overrides: Mapping[str, Any],
    hooks: pluggy.PluginManager | None,
    part: int = 1,
) -> Collected:
    """Merge every source, for the `part`-th of the sizes ordered. Hold where a ticket file can't be read or says something that can't be understood."""
    findings: list[Finding] = []
    unread: list[str] = []  # what a name seems to say of the size
    sources = [Source(origin=f"route '{route}'", values=dict(table))]
    folder_values = read_folders(subfolders, printable(subfolder)) if subfolders and subfolder else {}
    sources += _weak("the folder's name", folder_values, findings, unread)
    sources += _from_name(file_names, name, findings, unread, expected=not ticket_files)
    for path in ticket_files:
        sources.append(Source(origin=printable(path.name), values=read_ticket_file(path, hooks)))
    sources.append(Source(origin="the command line", values=dict(overrides)))
    merged = merge(sources, part)
    if merged.ticket.trim is None:
        findings += [_size_unclear(text) for text in unread]
    return Collected(merged.ticket, merged.origins, findings, merged.sizes)


def check_values(values: Mapping[str, Any], lines: Mapping[str, int] | None = None) -> list[str]:
    """What is wrong with a ticket's keys and values, a sentence each; empty when all is well."""
    problems = []
    lines = lines or {}
    for key in values:
        if key not in KEYS:
            problems.append(f"{_at(lines, key)}there is no ticket key '{key}'{meant(key, KEYS)}")
    for key, value in values.items():
        if key in KEYS:
            problems += [f"{_at(lines, key)}{key}: {sentence}" for sentence in _value_problems(key, value)]
    return problems


def meant(word: str, known: Sequence[str]) -> str:
    """How a sentence about an unknown word ends: the nearest known one, and all that are allowed."""
    return f"{nearest(word, known)} Allowed are {', '.join(known)}."


def read_ticket_file(path: Path, hooks: pluggy.PluginManager | None) -> dict[str, Any]:
    """The keys and values of a ticket file, through the plugins that know its format. Hold with reason and line."""
    name = printable(path.name)
    try:
        values = hooks.hook.read_ticket(path=path) if hooks is not None else None
    except ValueError as error:
        raise Hold("ticket_unreadable", f"The ticket file {name} can't be read: {error}", mend=_MEND) from error
    if values is None:
        raise Hold("ticket_unreadable", f"No plugin can read the ticket file {name}.", mend=_MEND)
    lines = values.pop("__lines__", {})
    problems = check_values(values, lines)
    if problems:
        raise Hold("ticket_wrong", f"The ticket file {name} can't be followed: {' '.join(problems)}", mend=_MEND)
    return dict(values)


def _at(lines: Mapping[str, int], key: str) -> str:
    return f"line {lines[key]}, " if key in lines else ""


def _value_problems(key: str, value: Any) -> list[str]:
    try:
        Ticket(**{key: value})
    except ValidationError as error:
        return [_sentence(key, item["msg"], value) for item in error.errors()]
    return []


def _sentence(key: str, message: str, value: Any) -> str:
    """The end of our sentence: what the ticket itself objects to, or what the key takes."""
    if message.startswith("Value error, "):
        return message.removeprefix("Value error, ") + "."
    if key in _TAKES:
        return f"must be {_TAKES[key]}, not {_shown(value)}."
    return f"{message[:1].lower()}{message[1:]}, not {_shown(value)}."


def _shown(value: Any) -> str:
    """What was written, in short: it may be as long as the file, or a number that Python will not write out."""
    if isinstance(value, int) and value.bit_length() > 200:
        return "a number of more than 60 digits"
    if isinstance(value, dict | list):
        return "a list of values"
    text = repr(value)
    return text if len(text) <= 80 else f"{text[:77]}..."


def _size_unclear(text: str) -> Finding:
    return Finding(
        code="size_unclear",
        level=Level.HOLD,
        message=f"A name seems to order the size '{text}', which can't be understood, and nothing else orders a size.",
        measured=text,
        required="a size such as 24x36in, 610x914mm or A1",
        mend="Write the size in the name, or in a ticket file beside the artwork, such as 24x36in, and drop it again.",
    )


def _weak(origin: str, values: dict[str, str], findings: list[Finding], unread: list[str]) -> list[Source]:
    """Names are weak evidence: a value that can't be understood is left out with a note."""
    good = {key: value for key, value in values.items() if not _value_problems(key, value)}
    for key in values.keys() - good.keys():
        if key == "trim":
            unread.append(printable(values[key]))
        findings.append(
            Finding(
                code="name_unread",
                level=Level.NOTE,
                measured=printable(values[key]),
                message=f"{origin[:1].upper()}{origin[1:]} seems to say {key} '{printable(values[key])}', which can't be understood; it was left out.",
            )
        )
    return [Source(origin=origin, values=good)] if good else []


def _from_name(
    patterns: Sequence[str], name: str, findings: list[Finding], unread: list[str], *, expected: bool
) -> list[Source]:
    """What the name says of the order. `expected`: nothing else came with the artwork that could say it."""
    stem = printable(PurePath(name).stem)
    matches = [values for pattern in patterns for values in readings(pattern, stem)]
    for values in matches:
        if not check_values(values):
            return [Source(origin="the file's name", values=dict(values))]
    if matches:
        return _weak("the file's name", matches[0], findings, unread)
    if patterns and expected:
        findings.append(
            Finding(
                code="name_unread",
                level=Level.NOTE,
                message="The file's name does not follow the studio's pattern, so nothing of the order was read from it.",
                measured=stem,
                required=" or ".join(patterns),
                mend="If the order below is right, there is nothing to do. Else name the file by the pattern and drop it again.",
            )
        )
    return []
