"""Tells the system's service manager that the daemon is ready, alive, or about to stop (sd_notify(3), Linux).

Where no service manager asks for it, nothing is sent.
"""

from __future__ import annotations

import contextlib
import os
import socket
import time


class Notify:
    """Sends a few words to the socket that the service manager names; `alive` no more often than is needed."""

    def __init__(self) -> None:
        self._socket = os.environ.get("NOTIFY_SOCKET", "")
        wanted = os.environ.get("WATCHDOG_USEC", "")
        other = os.environ.get("WATCHDOG_PID", "")
        mine = not other or other == str(os.getpid())
        # A quarter of the time after which it would be taken for dead; the manual advises half.
        self._every = int(wanted) / 4e6 if mine and wanted.isdigit() else 0.0
        self._last = float("-inf")

    def ready(self) -> None:
        self._send("READY=1\nSTATUS=at work")

    def stopping(self) -> None:
        self._send("STOPPING=1\nSTATUS=finishing what was begun")

    def status(self, words: str) -> None:
        self._send(f"STATUS={words}")

    def alive(self) -> None:
        now = time.monotonic()
        if self._every and now - self._last >= self._every:
            self._last = now
            self._send("WATCHDOG=1")

    def _send(self, words: str) -> None:
        if not self._socket or not hasattr(socket, "AF_UNIX"):
            return
        address = f"\0{self._socket[1:]}" if self._socket.startswith("@") else self._socket
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as channel:
            channel.setblocking(False)
            channel.sendto(words.encode(), address)
