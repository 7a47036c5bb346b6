"""The command `run`: starts the daemon, tells what it does, and stops it in good order on a signal."""

from __future__ import annotations

import signal
from pathlib import Path
from types import FrameType

from hotfolder.cli_show import say, sentences
from hotfolder.config import lint, load_studio


def run_daemon(config: Path, *, until_idle: bool) -> None:
    """Run until stopped. ConfigError where the config can't be used: then nothing is started."""
    studio = load_studio(config)
    sentences([f"Warning: {warning}" for warning in lint(studio).warnings])
    from hotfolder.daemon import Daemon  # only a config that can be used brings any of the daemon into being

    daemon = Daemon(studio, say)

    def stop(number: int, frame: FrameType | None) -> None:
        daemon.stop()

    before = {each: signal.signal(each, stop) for each in (signal.SIGINT, signal.SIGTERM)}
    try:
        daemon.run(until_idle)
    finally:
        for each, handler in before.items():
            signal.signal(each, handler)
