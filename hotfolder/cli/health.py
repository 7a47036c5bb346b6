"""The command `health`: whether the daemon is at work and what is in its way, from what it wrote down at its last look."""

from __future__ import annotations

import datetime as dt
import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from hotfolder.cli.show import as_json, say
from hotfolder.config.reader import load_studio
from hotfolder.daemon.pulse import STATE
from hotfolder.errors import ConfigError
from hotfolder.names import printable

_MISSED = 3  # looks that may be missed before it counts as hanging
_SLACK = 20.0  # seconds that a look of its own may take besides
_DAY = 86_400.0


def show_health(config: Path, oldest: float, *, json_: bool, now: float | None = None) -> int:
    """Print it; 0 where all is well, 1 where a person should look. ConfigError where the config can't be read."""
    spool = load_studio(config).spool
    now = time.time() if now is None else now
    state = _read(spool / STATE)
    wrong = list(problems(state, spool, now, oldest))
    if json_:
        as_json({"well": not wrong, "problems": wrong, **(state or {})})
        return bool(wrong)
    for sentence in wrong:
        say(printable(sentence))
    for line in _lines(state, now) if state else ():
        say(printable(line))
    if not wrong:
        say("All is well.")
    return bool(wrong)


def _read(path: Path) -> dict[str, Any] | None:
    try:
        data = json.loads(path.read_bytes())
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        raise ConfigError([f"The daemon's state {path} can't be read: {error}."]) from error
    if not isinstance(data, dict) or data.get("version") != 1:
        raise ConfigError([f"The daemon's state {path} was written by another version of hotfolder."])
    return data


def problems(state: dict[str, Any] | None, spool: Path, now: float, oldest: float) -> Iterator[str]:
    """What a person should look at, worst first, in sentences."""
    if state is None:
        yield f"hotfolder has not run yet with the spool {spool}."
        return
    late = now - state["looked"]
    if state["stopped"]:
        yield f"hotfolder is not running: it was stopped {_ago(late)}."
    elif late > _MISSED * state["rescan"] + _SLACK:
        yield f"hotfolder is not running, or it hangs: its last look was {_ago(late)}."
    for trouble in state["troubles"]:
        yield f"{trouble['folder']}, since {_at(trouble['since'])}: {trouble['words']}"
    for route in state["routes"]:
        waits = route["oldest"]
        if waits and now - waits["since"] > oldest:
            yield f"Route '{route['route']}': {waits['file']} waits since {_at(waits['since'])}."
    for failure in state["failures"]:
        if now - failure["when"] < _DAY:
            yield f"{_at(failure['when'])}, {failure['about'] or failure['what']}: {failure['words']}"
    damaged = _count(spool / "damaged")
    if damaged:
        yield f"{damaged} job{'s stand' if damaged > 1 else ' stands'} in {spool / 'damaged'}: set aside, for a person to look at."


def _lines(state: dict[str, Any], now: float) -> Iterator[str]:
    done = ", ".join(f"{count} {outcome}" for outcome, count in sorted(state["outcomes"].items())) or "none yet"
    yield f"Process {state['process']}, started {_at(state['started'])}; last look {_ago(now - state['looked'])}."
    yield f"Jobs since then: {done}; at work {state['running']}, to be tried again {state['unfinished']}."
    for route in state["routes"]:
        yield f"Route '{route['route']}': {route['waiting']} waiting{', PAUSED' if route['paused'] else ''}."
    for folder, free in state["free"].items():
        yield f"Free on the disk of {folder}: {free / 1e9:.1f} GB."


def _count(folder: Path) -> int:
    try:
        return sum(1 for _ in folder.iterdir())
    except OSError:
        return 0


def _at(when: float) -> str:
    return f"{dt.datetime.fromtimestamp(when):%Y-%m-%d %H:%M:%S}"


def _ago(seconds: float) -> str:
    if seconds < 120:
        return f"{max(seconds, 0):.0f} seconds ago"
    return f"{seconds / 60:.0f} minutes ago" if seconds < 7200 else f"{seconds / 3600:.0f} hours ago"
