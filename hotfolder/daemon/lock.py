"""Sees to it that one daemon alone works on a spool."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from types import TracebackType

from hotfolder.errors import ConfigError


class SpoolLock:
    """Held while the daemon runs; the system lets go of it when the process dies, however it dies."""

    def __init__(self, spool: Path) -> None:
        self._path = spool / "lock"
        self._handle = -1

    def __enter__(self) -> SpoolLock:
        handle = os.open(self._path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
        try:
            _lock(handle)
        except OSError:
            other = os.pread(handle, 20, 0).decode("ascii", "replace").strip() if hasattr(os, "pread") else ""
            os.close(handle)
            process = f" (process {other})" if other else ""
            raise ConfigError(
                [
                    f"Another hotfolder{process} is at work on the spool {self._path.parent}. Stop it first, or set "
                    "`spool` to a folder of its own in one of the two configs."
                ]
            ) from None
        os.ftruncate(handle, 0)
        os.write(handle, f"{os.getpid()}\n".encode())
        self._handle = handle
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        os.close(self._handle)


def _lock(handle: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
    else:
        import fcntl

        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
