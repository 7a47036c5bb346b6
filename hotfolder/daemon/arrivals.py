"""Which files are in a watched folder, and which of them have come to rest and may be taken.

The look at the folder itself is the truth; events of the operating system only make it come sooner.
"""

from __future__ import annotations

import contextlib
import errno
import fnmatch
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum
from pathlib import Path

from hotfolder.daemon.companions import Companions, is_ticket
from hotfolder.daemon.completeness import looks_whole
from hotfolder.daemon.files import Files, Stamp

#: Names that programs give to files which are not artwork, or not yet; compared without regard to case.
IGNORED = (
    ".*", "~*", "*~", "*.tmp", "*.temp", "*.part", "*.partial", "*.crdownload", "*.download", "*.filepart",
    "*.swp", "*.lck", "*.lock", "desktop.ini", "thumbs.db", "ehthumbs.db", "icon\r",
)  # fmt: skip
#: Folders that systems and servers keep for themselves.
IGNORED_FOLDERS = (".*", "~*", "@eadir", "lost+found", "$recycle.bin", "system volume information", "__macosx")

_DEEPEST = 20


class State(StrEnum):
    """How a file that was found is to be dealt with."""

    WAITING = "waiting"
    READY = "ready"
    CUT_SHORT = "cut_short"  # at rest for long, and still not whole
    EMPTY = "empty_file"  # at rest for long, and without a byte
    UNREADABLE = "unreadable"  # at rest for long, and we may not read it


@dataclass(frozen=True)
class Arrival:
    """One file that may be taken now. `folder` is where it lies; `stamp` what it looked like at rest."""

    route: str
    folder: Path
    subfolder: str
    name: str
    stamp: Stamp
    tickets: tuple[str, ...]  # names of ticket files beside it
    shared: frozenset[str]  # those of them that other artwork beside it still needs
    state: State = State.READY

    @property
    def path(self) -> Path:
        return self.folder / self.name


@dataclass
class _Watched:
    """What we know of one file between two looks."""

    arrival: Arrival
    looked: object  # its stamp and those of its tickets
    since: float  # when it was first seen looking like this
    looks: int = 1
    state: State = State.WAITING
    told: bool = False


@dataclass
class Arrivals:
    """One route's watched folder. `clock` must not jump: a wait is measured by it.

    `tell(what, path, words)` hears of what people should know: refused names, files that stay open, trouble.
    """

    route: str
    root: Path
    settle: float
    patience: float
    files: Files = field(default_factory=Files)
    clock: Callable[[], float] = time.monotonic
    tell: Callable[[str, Path, str], None] = lambda what, path, words: None

    def __post_init__(self) -> None:
        self._known: dict[Path, _Watched] = {}
        self._told: set[Path] = set()
        self._trouble: set[Path] = set()

    # ---- looking

    def sweep(self) -> None:
        """Look through the whole folder. A folder that can't be listed leaves what we know of it as it was."""
        seen: set[Path] = set()
        blind: list[Path] = []
        for folder, subfolder, entries in self._walk(self.root, "", 0, blind):
            artwork = [entry.name for entry in entries if self._is_artwork(entry, folder / entry.name)]
            companions = Companions(artwork, [entry.name for entry in entries if is_ticket(entry.name)])
            for name in artwork:
                seen.add(folder / name)
                self._try_to_see(folder / name, folder, subfolder, companions)
        for path in [path for path in self._known if path not in seen]:
            if not any(path.is_relative_to(folder) for folder in blind):
                del self._known[path]
        self._told &= {path for path in self._told if os.path.lexists(path)}
        for path in [path for path in self._trouble if path.parent not in blind and not os.path.lexists(path)]:
            if path != self.root and not any(path.is_relative_to(folder) for folder in blind):
                self._trouble.discard(path)  # taken away by somebody, and with it the trouble
                self.tell("reachable", path, "It is gone.")

    def look_again(self) -> None:
        """Look at the files we wait for, without going through the folder."""
        for path, known in list(self._known.items()):
            if known.state is State.WAITING:
                with contextlib.suppress(OSError):  # where the whole folder is away, the next sweep tells so once
                    self._see(path, known.arrival.folder, known.arrival.subfolder, None)

    @property
    def ready(self) -> list[Arrival]:
        """What may be taken now, in order of name."""
        return [known.arrival for known in self._known.values() if known.state is not State.WAITING]

    @property
    def waiting(self) -> int:
        """How many files have not come to rest, leaving out those that stay open and folders that can't be looked at."""
        return sum(
            known.state is State.WAITING and not known.told and not {path, known.arrival.folder} & self._trouble
            for path, known in self._known.items()
        )

    @property
    def count(self) -> int:
        """How many pieces of artwork lie in the folder."""
        return len(self._known)

    @property
    def unsettled(self) -> bool:
        return any(known.state is State.WAITING for known in self._known.values())

    def forget(self, path: Path) -> None:
        """It was taken, or could not be: the next look starts anew."""
        self._known.pop(path, None)

    # ---- the walk

    def _walk(
        self, folder: Path, subfolder: str, depth: int, blind: list[Path]
    ) -> Iterator[tuple[Path, str, list[os.DirEntry[str]]]]:
        try:
            entries = self.files.list(folder)
        except OSError as error:
            blind.append(folder)
            # A sub-folder may go at any time; it is the watched folder itself that has to be there.
            if folder == self.root or error.errno not in (errno.ENOENT, errno.ENOTDIR):
                self._troubled(folder, error)
            else:
                blind.pop()
            return
        self._untroubled(folder)
        yield folder, subfolder, entries
        for entry in entries:
            if not entry.is_dir(follow_symlinks=False) or _matches(entry.name, IGNORED_FOLDERS):
                continue
            below = f"{subfolder}/{entry.name}".lstrip("/")
            if depth < _DEEPEST:
                yield from self._walk(folder / entry.name, below, depth + 1, blind)
            else:
                self._refuse(folder / entry.name, f"The folder lies more than {_DEEPEST} folders deep; move it up.")

    def _is_artwork(self, entry: os.DirEntry[str], path: Path) -> bool:
        if _matches(entry.name, IGNORED) or is_ticket(entry.name):
            return False
        if entry.is_symlink():
            self._refuse(path, "This is a link to another place, not a file. Put the artwork itself into the folder.")
            return False
        if entry.is_dir(follow_symlinks=False):
            return False
        if not entry.is_file(follow_symlinks=False):
            self._refuse(path, "This is no file that can be read. Put the artwork itself into the folder.")
            return False
        return True

    def _refuse(self, path: Path, words: str) -> None:
        if path not in self._told:
            self._told.add(path)
            self.tell("refused", path, words)

    def _troubled(self, folder: Path, error: OSError) -> None:
        if folder not in self._trouble:
            self._trouble.add(folder)
            self.tell("unreachable", folder, f"The folder can't be looked at: {error.strerror}. It is tried again.")

    def _untroubled(self, folder: Path) -> None:
        if folder in self._trouble:
            self._trouble.discard(folder)
            self.tell("reachable", folder, "The folder can be looked at again.")

    # ---- one file

    def _try_to_see(self, path: Path, folder: Path, subfolder: str, companions: Companions) -> None:
        try:
            self._see(path, folder, subfolder, companions)
        except OSError as error:
            if path not in self._trouble:
                self._trouble.add(path)
                self.tell("unreachable", path, f"The file can't be looked at: {error.strerror}. It is tried again.")
        else:
            if path in self._trouble:
                self._trouble.discard(path)
                self.tell("reachable", path, "The file can be looked at again.")

    def _see(self, path: Path, folder: Path, subfolder: str, companions: Companions | None) -> None:
        stamp = self.files.look(path)
        if stamp is None:
            self.forget(path)
            return
        known = self._known.get(path)
        if companions is not None:
            tickets, shared = companions.of(path.name)
        else:
            tickets, shared = (known.arrival.tickets, known.arrival.shared) if known else ((), frozenset())
        looked = (stamp, tuple((ticket, self.files.look(folder / ticket)) for ticket in tickets))
        if known is None or known.looked != looked:
            arrival = Arrival(self.route, folder, subfolder, path.name, stamp, tickets, shared)
            self._known[path] = _Watched(arrival, looked, self.clock())
            return
        known.looks += 1
        if known.state is State.WAITING:
            known.state = self._judge(known, self.clock() - known.since)
        known.arrival = replace(known.arrival, state=known.state, shared=shared)

    def _judge(self, known: _Watched, quiet: float) -> State:
        """A file is at rest when two looks at least were alike, over the time that the route asks for."""
        if known.looks < 2 or quiet < self.settle:
            return State.WAITING
        patient = quiet < max(self.patience, self.settle)
        path = known.arrival.path
        if known.arrival.stamp.size == 0:
            return State.WAITING if patient else State.EMPTY
        try:
            if is_written_to(path):
                if not patient and not known.told:
                    known.told = True
                    self.tell("open", path, "Another program still has this file open for writing; it waits for that.")
                return State.WAITING
            if not looks_whole(path):
                return State.WAITING if patient else State.CUT_SHORT
        except FileNotFoundError:
            return State.WAITING
        except OSError:
            return State.WAITING if patient else State.UNREADABLE
        return State.READY


def _matches(name: str, patterns: tuple[str, ...]) -> bool:
    return any(fnmatch.fnmatchcase(name.casefold(), pattern) for pattern in patterns)


def is_written_to(path: Path) -> bool:
    """Whether some program has the file open for writing, as far as the system tells (Linux, local disks).

    A read lease is granted only where nobody does (fcntl(2), F_SETLEASE); it is given back at once.
    """
    if sys.platform != "linux":
        return False
    import fcntl

    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        # A program that opens the file just now breaks the lease; the usual signal for that would end this process.
        fcntl.fcntl(handle, _F_SETSIG, signal.SIGURG)
        fcntl.fcntl(handle, fcntl.F_SETLEASE, fcntl.F_RDLCK)
        fcntl.fcntl(handle, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    except OSError as error:
        return error.errno == errno.EAGAIN  # anything else: leases are not to be had here
    finally:
        os.close(handle)
    return False


_F_SETSIG = 10  # Linux fcntl(2)
