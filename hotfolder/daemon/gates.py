"""Says of each route whether work may be taken now: room on its disks, and folders that can be written to.

What is wrong is told once for each folder or disk, and once more when it is over. Nothing waits for a person.
"""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from hotfolder.config.studio import Route
from hotfolder.daemon.arrivals import Arrivals
from hotfolder.daemon.events import Event, What
from hotfolder.daemon.places import Places
from hotfolder.names import printable

MB = 1_000_000
_SHARE = 0.01  # of a disk is kept free (common practice, no published source)
_OUTPUTS = 2  # beside the original a job writes a working PDF and the result
_SPARE = 1.5  # and each may become larger than what came
_AGAIN = 1.2  # so much more than the reserve must be free before it goes on: else it would stop and go with each file
#: Errors that may be a whole folder's rather than one file's.
_FOLDERS = {
    errno.EACCES, errno.EPERM, errno.EROFS, errno.ESTALE, errno.ENOTCONN, errno.EIO, errno.ENODEV, errno.ENOENT,
    errno.EHOSTDOWN, errno.EHOSTUNREACH, errno.ETIMEDOUT, errno.ENXIO, errno.ENOSPC, errno.EDQUOT,
}  # fmt: skip

Usage = Callable[[Path], tuple[int, int]]


def usage(folder: Path) -> tuple[int, int]:
    """Free bytes and all bytes of the folder's disk."""
    found = shutil.disk_usage(folder)
    return found.free, found.total


class Gates:
    """Looked at in the daemon's own thread, before work is taken and at each full look.

    `watched` is the daemon's own list, and changes with it. `room` tells a disk's space, for tests.
    """

    def __init__(
        self,
        spool: Path,
        reserve_mb: float | None,
        workers: int,
        watched: Sequence[tuple[Route, Arrivals]],
        places: Places,
        tell: Callable[[Event], None],
        room: Usage = usage,
    ) -> None:
        self.reserve_mb, self.workers = reserve_mb, workers
        self._spool, self._watched, self._places, self._tell, self._room = spool, watched, places, tell, room
        self._shut: dict[Path, str] = {}
        self._full: dict[Path, str] = {}
        self._doubted: set[Path] = set()
        self.free: dict[Path, int] = {}  # of each folder's disk, at the last look

    # ---- asked

    def open(self, route: Route, folder: Path | None = None) -> bool:
        """Whether files of this route, in this folder of it, may be taken, as of the last look."""
        folders = [*self._of(route), folder or self._spool]
        return not any(each in self._shut or each in self._full for each in folders)

    @property
    def troubles(self) -> dict[Path, str]:
        """Why a folder takes nothing, in the words that were told."""
        return {**self._full, **self._shut}

    def paused(self) -> list[str]:
        """The routes of which nothing is taken."""
        return [route.name for route, _ in self._watched if not self.open(route)]

    def doubt(self, error: BaseException | None, folder: Path | None = None) -> bool:
        """Something failed: try the folders out that it may have failed in. True where one is at fault; that is told."""
        if not isinstance(error, OSError) or error.errno not in _FOLDERS:
            return False
        folders = [*self._all(), *([folder] if folder else ())]
        files = [Path(name) for name in (error.filename, error.filename2) if isinstance(name, str)]
        doubted = [each for each in folders if each == folder or any(file.is_relative_to(each) for file in files)]
        self._doubted.update(doubted or folders)
        self.look()
        return any(each in self._shut or each in self._full for each in doubted or folders)

    # ---- looking

    def look(self) -> bool:
        """Look at all folders and their disks anew; whether something may go on that could not."""
        usual = self._all()
        folders = list(dict.fromkeys([*usual, *self._doubted, *self._shut]))
        before = len(self._shut) + len(self._full)
        for folder in folders:
            if folder in usual or folder.parent.exists():  # a sub-folder may go at any time
                self._set(self._shut, folder, self._what_is_wrong(folder), "Work goes on.")
            else:
                self._shut.pop(folder, None)
                self._doubted.discard(folder)
        self._places.remember(*(folder for folder in usual if folder not in self._shut and folder.is_dir()))
        for folder in [folder for folder in self._full if folder not in usual]:
            del self._full[folder]
        self._look_at_room(usual)
        return len(self._shut) + len(self._full) < before

    def forget(self, folder: Path) -> None:
        """It is no folder of ours any more."""
        for kept in (self._shut, self._full, self.free):
            kept.pop(folder, None)
        self._doubted.discard(folder)

    def _all(self) -> list[Path]:
        return list(dict.fromkeys([self._spool, *(folder for route, _ in self._watched for folder in self._of(route))]))

    def _of(self, route: Route) -> list[Path]:
        return [folder for folder in (self._spool, route.watch, route.passed, route.hold) if folder is not None]

    def _set(self, where: dict[Path, str], folder: Path, words: str, over: str) -> None:
        shown = printable(str(folder))
        if words and folder not in where:
            where[folder] = words
            self._tell(Event(What.PAUSED, folder=shown, words=words))
        elif not words and folder in where:
            del where[folder]
            self._tell(Event(What.RESUMED, folder=shown, words=over))

    def _what_is_wrong(self, folder: Path) -> str:
        mount = self._places.away(folder)
        if mount is not None:
            return (
                f"The disk or share at {printable(mount)}, on which this folder lay, is away; work goes on by itself when "
                "it is back. If the folder was moved on purpose, remove the file places.json from the spool."
            )
        try:
            folder.stat()
            if folder in self._doubted or folder in self._shut or not _may_write(folder):
                _try_out(folder)
        except FileNotFoundError:
            return self._missing(folder)
        except OSError as error:
            if error.errno in (errno.ENOSPC, errno.EDQUOT):
                return ""  # that is about room
            return f"Nothing can be moved into or out of this folder ({error.strerror}); work goes on by itself when it can."
        self._doubted.discard(folder)
        return ""

    def _missing(self, folder: Path) -> str:
        """A way out is made again by who needs it, where the folder above is there; the rest is told by others."""
        watched = any(folder == arrivals.root for _, arrivals in self._watched)
        if watched or (folder != self._spool and folder.parent.is_dir()):
            return ""
        return "The folder is gone, and the one above it too; work goes on by itself when it is back."

    # ---- room

    def _look_at_room(self, folders: Iterable[Path]) -> None:
        self.free.clear()
        seen: dict[int, Path] = {}
        for folder in folders:
            try:
                device = folder.stat().st_dev
                first = seen.setdefault(device, folder)
                free, total = self._room(folder) if first == folder else (0, 0)
            except OSError:
                self._full.pop(folder, None)  # what can't be looked at is told above
                continue
            if first == folder:
                self.free[folder] = free
                self._set(self._full, folder, self._too_full(folder, free, total), "There is room again; work goes on.")
            elif first in self._full:
                self._full.setdefault(folder, self._full[first])
            else:
                self._full.pop(folder, None)

    def _too_full(self, folder: Path, free: int, total: int) -> str:
        reserve = self.reserve(total)
        enough = max(reserve, min(reserve * _AGAIN, total * 0.95)) if folder in self._full else reserve
        if free >= enough:
            return ""
        if folder in self._full:
            return self._full[folder]
        return (
            f"Only {_amount(free)} are free on this disk, and {_amount(reserve)} are kept free; no file is taken until "
            f"there is room again. Make room, or move what was fetched out of `pass`; work goes on by itself."
        )

    def reserve(self, total: int) -> int:
        """How many bytes are kept free on a disk of this size."""
        if self.reserve_mb is not None:
            return int(self.reserve_mb * MB)
        sizes = [arrival.stamp.size for _, arrivals in self._watched for arrival in arrivals.ready]
        at_once = max(1, min(self.workers, len(sizes)))
        return max(int(total * _SHARE), int(_SPARE * _OUTPUTS * at_once * max(sizes, default=0)))


def _try_out(folder: Path) -> None:
    """Make and remove a hidden folder: permissions alone don't tell what a network share allows."""
    trial = folder / f".hotfolder-{secrets.token_hex(6)}.tmp"
    trial.mkdir()
    trial.rmdir()


def _may_write(folder: Path) -> bool:
    effective = os.access in os.supports_effective_ids
    return os.access(folder, os.W_OK | os.X_OK, effective_ids=effective)


def _amount(size: float) -> str:
    for unit in ("bytes", "kB", "MB", "GB"):
        if size < 1000:
            return f"{size:.3g} {unit}"
        size /= 1000
    return f"{size:.3g} TB"
