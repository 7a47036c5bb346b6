"""The daemon's own log: one JSON object a line in the spool, and for people on standard error."""

from __future__ import annotations

import contextlib
import sys
import threading
from pathlib import Path
from typing import IO, Any

import structlog


class Journal:
    """Writes what happens. A full disk must not stop the daemon, so what can't be written is dropped."""

    def __init__(self, path: Path, *, to_people: bool, most_mb: float = 20.0) -> None:
        self.most_mb = most_mb
        self._path = path
        self._lock = threading.Lock()
        self._stream: IO[str] | None = None
        stamp = structlog.processors.TimeStamper(fmt="iso", utc=False)
        self._line = structlog.processors.JSONRenderer()
        self._people = structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty()) if to_people else None
        self._stamp = stamp

    def tell(self, event: str, **fields: Any) -> None:
        """One line. Empty fields are left out."""
        kept = {key: value for key, value in fields.items() if value not in ("", None)}
        full = self._stamp(None, "info", {"event": event, **kept})
        with self._lock:
            try:
                self._write(str(self._line(None, "info", dict(full))) + "\n")
            except OSError:
                self._close()
            if self._people is not None:
                print(self._people(None, "info", dict(full)), file=sys.stderr, flush=True)

    def close(self) -> None:
        with self._lock:
            self._close()

    def _write(self, line: str) -> None:
        if self._stream is None:
            self._stream = self._path.open("a", encoding="utf-8", errors="backslashreplace")
        if self._stream.tell() > self.most_mb * 1e6 / 2:  # as much again lies in the earlier file
            self._close()
            self._path.replace(self._path.with_name(self._path.name + ".1"))
            self._stream = self._path.open("a", encoding="utf-8", errors="backslashreplace")
        self._stream.write(line)
        self._stream.flush()

    def _close(self) -> None:
        if self._stream is not None:
            with contextlib.suppress(OSError):
                self._stream.close()
            self._stream = None
