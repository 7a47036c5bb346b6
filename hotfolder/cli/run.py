"""The command `run`: starts the daemon, tells what it does, and stops it in good order on a signal."""

from __future__ import annotations

import datetime as dt
import signal
from pathlib import Path
from types import FrameType

from hotfolder.cli.show import say, sentences
from hotfolder.config.reader import lint, load_studio
from hotfolder.config.studio import Studio
from hotfolder.daemon.events import Event, What
from hotfolder.loading import modules_kept
from hotfolder.names import printable

_BEGINNINGS = {
    What.WATCHING: "watching",
    What.CONFINED: "protection:",
    What.STARTED: "begun",
    What.PUT_BACK: "put back",
    What.AGAIN: "will be tried again",
    What.RECOVERED: "taken up again",
    What.SEEN_BEFORE: "seen before",
    What.REFUSED: "not taken",
    What.OPEN: "still open in another program",
    What.UNREACHABLE: "can't be reached",
    What.REACHABLE: "can be reached again",
    What.PAUSED: "PAUSED",
    What.RESUMED: "goes on",
    What.NO_EVENTS: "is looked through at intervals",
    What.HANDED_OVER: "handed over",
    What.NOT_HANDED_OVER: "NOT handed over",
    What.KEPT: "kept",
    What.RELOADED: "config read again",
    What.REFUSED_CONFIG: "changed config NOT taken, the old one stays in force",
    What.TROUBLE: "trouble",
    What.DAMAGED: "set aside",
}


def run_daemon(config: Path, *, until_idle: bool) -> None:
    """Run until stopped. ConfigError where the config can't be used: then nothing is started."""
    studio = load_studio(config)
    sentences([f"Warning: {warning}" for warning in lint(studio).warnings])
    from hotfolder.daemon.loop import Daemon  # only a config that can be used brings any of the daemon into being

    def reread() -> Studio:
        with modules_kept():
            changed = load_studio(config)
        sentences([f"Warning: {warning}" for warning in lint(changed).warnings])
        return changed

    daemon = Daemon(studio, _tell, reread=reread)

    asked = []

    def stop(number: int, frame: FrameType | None) -> None:
        asked.append(number)
        daemon.stop()

    before = {each: signal.signal(each, stop) for each in (signal.SIGINT, signal.SIGTERM)}
    if hasattr(signal, "SIGHUP"):
        before[signal.SIGHUP] = signal.signal(signal.SIGHUP, lambda number, frame: daemon.reload())
    try:
        daemon.run(until_idle)
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
    if asked:
        say(f"{dt.datetime.now():%H:%M:%S}  stopped: what was begun is finished, or goes on at the next start")


def _tell(event: Event) -> None:
    line = describe(event)
    if line:
        say(f"{dt.datetime.now():%H:%M:%S}  {line}")


def describe(event: Event) -> str:
    """One piece of the daemon's news as a line for people; empty for what only a progress display needs."""
    if event.what is What.STEP:
        return ""
    subject = event.file or event.folder or event.job
    if event.what is What.FINISHED:
        where = str(Path(event.folder) / event.names[-1]) if event.names else event.folder
        parts = [f"{subject}: {event.outcome}", event.words, f"-> {where}" if where else ""]
    elif event.what in (What.HANDED_OVER, What.NOT_HANDED_OVER):
        parts = [f"{subject}: {_BEGINNINGS[event.what]} to {event.folder}", event.words, ", ".join(event.names)]
    else:
        parts = [f"{subject}: {_BEGINNINGS[event.what]}" if subject else _BEGINNINGS[event.what], event.words]
    return printable("  ".join(part for part in parts if part))
