"""The log beside every result: what happened to the file, one JSON object a line, for machines and patient people.

Every line has
    time     when, ISO 8601, UTC with zone ("2026-11-25T14:22:57.120482Z")
    event    what happened, in a few fixed words: "job started", "ticket read", "step finished", "ink measured",
             "finding", "job finished", "observer failed", "report failed", "line cut short"
    job      the job's id (where several sizes were ordered: that of the arrival until the ticket is read)
and, where they apply, these fields and no others of another meaning:
    file     the artwork's name as it was dropped, made printable
    route    the route's name                     attempt  which try at this job it was, from 1
    bytes    the original's length                digest   SHA-256 of the original, hexadecimal
    ticket   what was ordered, by ticket key      origins  for each ticket key what decided it
    step     the step's name                      ended    done, skipped, held or fault
    seconds  how long the step took               changed  whether the step changed the working PDF
    told     the step's sentences for the report  trace    a fault's traceback
    code     the finding's code                   level    hold, note or mended
    message  the finding's sentence               mend     what to do about it
    measured, required                            page     from 1
    box      [left, bottom, right, top] in points of the page's own space
    coverage for each ink its mean in percent     total    the mean of all inks together, in percent
    peak     the most ink in one place, percent   area_cm2 of how much paper, in square centimetres
    outcome  pass or hold                         reason   the outcome's reason in a few words
    result_digest  SHA-256 of the finished PDF    detail   what is known of a worker that died
    piece    what was left of a line whose writer died

Text that could break a line or mislead a terminal (control signs, line separators, signs that turn the direction of
writing, bytes of a name that are no text) is written as JSON's \\uXXXX.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Mapping
from enum import Enum
from pathlib import Path
from types import TracebackType
from typing import Any

import structlog
from pydantic import BaseModel
from structlog.typing import EventDict, WrappedLogger

from hotfolder.ink import PageInk

_FIRST = ("time", "event", "job")
_MOST_LEVELS = 12  # no record of ours is nested deeper


class JobLog:
    """A job's log, open for adding lines; each is handed to the system as it is written.

    An existing file is continued: the daemon does so after a worker died in the middle of a job, perhaps in the middle
    of a line, which is then kept as the `piece` of a line of its own. OSError where the disk fails.
    """

    def __init__(self, path: Path, job: str) -> None:
        piece = _take_torn_line(path)
        self._stream = path.open("a", encoding="utf-8", newline="\n")
        self._logger = structlog.wrap_logger(
            structlog.WriteLogger(self._stream),  # flushes every line
            processors=[structlog.processors.TimeStamper(fmt="iso", utc=True, key="time"), _in_order, _as_line],
            wrapper_class=structlog.BoundLogger,
            job=job,
        )
        if piece:
            self.write("line cut short", piece=piece)

    def about(self, job: str) -> None:
        """From here on the lines carry this id: the order has told that the artwork is to make several jobs."""
        self._logger = self._logger.bind(job=job)

    def write(self, event: str, **fields: Any) -> None:
        """Add one line. Models, enumerations, times, paths and boxes become what JSON has for them."""
        self._logger.msg(event, **fields)

    def close(self) -> None:
        self._stream.close()

    def __enter__(self) -> JobLog:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def ink_fields(page: PageInk) -> dict[str, Any]:
    """One page's ink as the fields of one line."""
    return {
        "page": page.page,
        "area_cm2": round(page.area_cm2, 1),
        "coverage": {use.name: round(use.mean, 2) for use in page.used},
        "total": round(page.mean_total, 2),
        "peak": round(page.peak_total, 1),
    }


def _take_torn_line(path: Path) -> str:
    """Cut a last line without its end off the file, and hand it back."""
    if not path.exists():
        return ""
    with path.open("r+b") as stream:
        data = stream.read()
        whole = data.rfind(b"\n") + 1
        stream.truncate(whole)
    return data[whole:].decode("utf-8", "replace")


def _in_order(_logger: WrappedLogger, _method: str, fields: EventDict) -> EventDict:
    return {key: fields[key] for key in (*_FIRST, *(key for key in fields if key not in _FIRST))}


def _as_line(_logger: WrappedLogger, _method: str, fields: EventDict) -> str:
    text = json.dumps(_plain(fields), ensure_ascii=False, allow_nan=False)
    return "".join(sign if sign.isprintable() else json.dumps(sign)[1:-1] for sign in text)


def _plain(value: Any, level: int = 0) -> Any:
    """What JSON can hold of a value."""
    if level > _MOST_LEVELS:
        return "..."
    match value:
        case Enum():
            return _plain(value.value, level + 1)
        case None | bool() | int() | str():
            return value
        case float():
            return value if math.isfinite(value) else str(value)
        case BaseModel():
            return _plain(value.model_dump(mode="json"), level + 1)
        case Mapping():
            return {str(key): _plain(item, level + 1) for key, item in value.items()}
        case list() | tuple() | set() | frozenset():
            return [_plain(item, level + 1) for item in value]
        case dt.datetime() | dt.date():
            return value.isoformat()
        case bytes():
            return value.decode("utf-8", "backslashreplace")
    return str(value)
