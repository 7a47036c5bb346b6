"""A daemon at work in a thread, and waiting for what it does."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from hotfolder.daemon.loop import Daemon


class running:  # noqa: N801 - reads as a statement
    """A daemon in a thread, for the length of a block."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._thread = threading.Thread(target=daemon.run)

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(self, *error: object) -> None:
        self._daemon.stop()
        self._thread.join(30)
        assert not self._thread.is_alive()


def wait_for(condition: Callable[[], bool]) -> None:
    end = time.monotonic() + 60
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.02)
