"""Reads the ticket that lies beside artwork as a small TOML or JSON file."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

from hotfolder.plugin import hookimpl

#: A ticket is a few lines; a larger file is something else, or meant to do harm: the time to read TOML may grow with
#: the square of its length.
_MOST_BYTES = 16 * 1024
_DEEP = "it is nested too deeply; a ticket is one list of keys and values."
#: A key and what follows it. From the beginning of a word only, and none endless: else long words take long.
_KEY = re.compile(r"""(?<![\w-])([\w-]{1,60})["']?\s{0,60}[=:]""")


@hookimpl
def read_ticket(path: Path) -> dict[str, Any] | None:
    """Keys and values of `NAME.ticket.toml` or `NAME.ticket.json`; ValueError with the line where it can't be read."""
    if path.suffix not in {".toml", ".json"}:
        return None
    if path.stat().st_size > _MOST_BYTES:
        raise ValueError("it is larger than 16 KB, which is no ticket.")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise ValueError("it is not plain text in UTF-8; save it again as UTF-8.") from error
    values = _toml(text) if path.suffix == ".toml" else _json(text)
    return {**values, "__lines__": _lines(text, values)}


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        last = f"at line {text.count(chr(10)) + 1}, the end of the file"
        raise ValueError(f"it is not valid TOML: {str(error).replace('at end of document', last)}.") from error
    except RecursionError as error:
        raise ValueError(_DEEP) from error


def _json(text: str) -> dict[str, Any]:
    try:
        values = json.loads(text, parse_constant=_refuse_constant)
    except json.JSONDecodeError as error:
        raise ValueError(
            f"it is not valid JSON: {error.msg} (at line {error.lineno}, column {error.colno})."
        ) from error
    except RecursionError as error:
        raise ValueError(_DEEP) from error
    if not isinstance(values, dict):
        raise ValueError('it must be one list of keys and values in braces, such as {"trim": "24x36in"}.')
    return values


def _refuse_constant(word: str) -> None:
    raise ValueError(f"it holds {word}, which is no number.")


def _lines(text: str, values: dict[str, Any]) -> dict[str, int]:
    """The line on which each key stands, as far as it can be told."""
    found: dict[str, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        for key in _KEY.findall(line):
            if key in values:
                found.setdefault(key, number)
    return found
