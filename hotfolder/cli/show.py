"""Prints for people: tables, findings and file names, safe on any terminal, without colour in a pipe."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from hotfolder.names import printable

_PIPE_WIDTH = 160
_STYLES = {"pass": "bold", "hold": "bold reverse", "note": "", "mended": "italic"}


def console(*, stderr: bool = False) -> Console:
    """Where to print. Into a pipe or a file lines are wide and plain."""
    made = Console(stderr=stderr, highlight=False, markup=False, emoji=False)
    if not made.is_terminal:
        made.width = _PIPE_WIDTH
    return made


def plain(value: Any) -> Text:
    """Any text as it is, never as markup, on lines of its own and with nothing that moves the cursor."""
    return Text("" if value is None else printable(str(value)))


def level(word: str) -> Text:
    """A level or an outcome, told by its word; weight only helps the eye."""
    return Text(word, style=_STYLES.get(word, ""))


def table(*columns: str, title: str | None = None) -> Table:
    """An empty table in the project's look: one line under the head, nothing around it."""
    made = Table(box=SIMPLE_HEAD, title=title, title_justify="left", title_style="bold", pad_edge=False)
    for column in columns:
        made.add_column(column, overflow="fold")
    return made


def say(text: str, *, stderr: bool = False) -> None:
    """One sentence, not wrapped: what is copied from it stays whole."""
    console(stderr=stderr).print(Text(text), soft_wrap=True)


def sentences(lines: Sequence[str]) -> None:
    """Problems or warnings, one a line, to the error channel."""
    for line in lines:
        say(printable(line), stderr=True)


def as_json(value: Any) -> None:
    """Machine-readable output; signs that the channel can't carry are written as JSON escapes."""
    wide = (sys.stdout.encoding or "").lower().replace("-", "") in {"utf8", "utf8sig"}
    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=not wide) + "\n")
