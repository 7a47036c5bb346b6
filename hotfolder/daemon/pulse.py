"""Writes down, at each look, how the daemon is: for `hotfolder health`, and for whoever watches over the watcher."""

from __future__ import annotations

import contextlib
import json
import os
import time
from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from hotfolder.config.studio import Route
from hotfolder.daemon.arrivals import Arrival, Arrivals
from hotfolder.daemon.dispatch import Dispatch
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.gates import Gates
from hotfolder.names import printable

STATE = "state.json"  # in the spool
_BEGIN, _OVER = {What.PAUSED, What.UNREACHABLE}, {What.RESUMED, What.REACHABLE}
_FAILURES = {What.TROUBLE, What.DAMAGED, What.AGAIN, What.NOT_HANDED_OVER, What.REFUSED_CONFIG}
#: What tells that a failure is over, and of which kind.
_MENDED = {
    What.STARTED: What.AGAIN,
    What.FINISHED: What.AGAIN,
    What.PUT_BACK: What.AGAIN,
    What.HANDED_OVER: What.NOT_HANDED_OVER,
    What.RELOADED: What.REFUSED_CONFIG,
}
_KEPT = 20  # of the latest failures


@dataclass
class Pulse:
    """Hears every event, and knows where to look for the rest. `now` is the time of day."""

    spool: Path
    watched: Sequence[tuple[Route, Arrivals]]
    dispatch: Dispatch
    gates: Gates
    rescan: float
    now: Callable[[], float] = time.time
    shown: list[Callable[[dict[str, Any]], None]] = field(default_factory=list)  # called with each state written
    outcomes: Counter[str] = field(default_factory=Counter)
    troubles: dict[str, dict[str, Any]] = field(default_factory=dict)
    failures: deque[dict[str, Any]] = field(default_factory=lambda: deque(maxlen=_KEPT))

    def __post_init__(self) -> None:
        self._started = self.now()

    def hear(self, event: Event) -> None:
        folder = str(Path(event.folder) / event.file) if event.file else event.folder
        if event.what is What.FINISHED:
            self.outcomes[event.outcome] += 1
        elif event.what in _BEGIN:
            self.troubles.setdefault(folder, {"folder": folder, "since": self.now(), "words": event.words})
        elif event.what in _OVER:
            self.troubles.pop(folder, None)
        elif event.what in _FAILURES:
            about = event.job or event.file or event.folder
            self.failures.append(
                {
                    "when": self.now(),
                    "what": event.what.value,
                    "about": about,
                    "folder": event.folder,
                    "words": event.words,
                }
            )
        if event.what in _MENDED:
            self._forget_failures(event)

    def _forget_failures(self, event: Event) -> None:
        """What has worked in the end is no failure any more: a monitor must not cry for a day."""
        kind = _MENDED[event.what]
        kept = [
            each
            for each in self.failures
            if each["what"] != kind
            or (kind == What.AGAIN and each["about"] not in (event.job, event.file))
            or (kind == What.NOT_HANDED_OVER and (each["about"], each["folder"]) != (event.job, event.folder))
        ]
        self.failures.clear()
        self.failures.extend(kept)

    def forget(self, folder: Path) -> None:
        """It is no folder of ours any more."""
        self.troubles.pop(printable(str(folder)), None)

    def state(self, *, stopped: bool = False) -> dict[str, Any]:
        """Plain data; times are seconds since 1970."""
        return {
            "version": 1,
            "process": os.getpid(),
            "stopped": stopped,
            "started": self._started,
            "looked": self.now(),
            "rescan": self.rescan,
            "running": len(self.dispatch.running),
            "unfinished": self.dispatch.unfinished,
            "routes": [self._route(route, arrivals) for route, arrivals in self.watched],
            "free": {printable(str(folder)): free for folder, free in self.gates.free.items()},
            "troubles": list(self.troubles.values()),
            "failures": list(self.failures),
            "outcomes": dict(self.outcomes),
        }

    def _route(self, route: Route, arrivals: Arrivals) -> dict[str, Any]:
        oldest = min(arrivals.ready, key=_came, default=None)
        return {
            "route": route.name,
            "paused": not self.gates.open(route),
            "waiting": arrivals.count,
            "oldest": {"file": printable(oldest.name), "since": _came(oldest)} if oldest is not None else None,
        }

    def write(self, *, stopped: bool = False) -> None:
        """Beside, then renamed: a reader sees the old one or the new one. A full disk must not stop the daemon.

        It is not forced onto the disk: after a power cut it would tell of another time anyway.
        """
        beside, state = self.spool / f".{STATE}.new", self.state(stopped=stopped)
        for show in self.shown:
            show(state)
        with contextlib.suppress(OSError):
            beside.write_text(json.dumps(state, indent=1), encoding="utf-8")
            beside.replace(self.spool / STATE)


def _came(arrival: Arrival) -> float:
    """When it came into the folder or was last written to; ctime can't be set by the program that copied it."""
    return arrival.stamp.ctime_ns / 1e9
