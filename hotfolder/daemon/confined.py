"""Shuts each job's process in: what a hostile file can do there ends with the job, and reaches nothing else.

Always: limits on memory, time, the size of files, open files. On Linux also: it writes into its own folder alone, reads
no other customer's file, has no network, and starts no other program. `told` says in plain words what holds here.
"""

from __future__ import annotations

import contextlib
import math
import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from hotfolder import loading
from hotfolder.daemon import callfilter, landlock
from hotfolder.work import Order

_OPEN_FILES = 1024
_SPARE_SECONDS = 60  # of processor time, beyond all that the time limit has room for
MOST_FILES = 20_000  # in a job's own folder


class HasLimits(Protocol):
    """What one job may use."""

    @property
    def seconds(self) -> float: ...

    @property
    def memory_mb(self) -> int: ...

    @property
    def disk_mb(self) -> int: ...

    @property
    def confine(self) -> bool: ...

    @property
    def programs(self) -> bool: ...


@dataclass(frozen=True)
class Cell:
    """What one job's process may do; travels to it beside the order."""

    seconds: float
    memory_mb: int
    disk_mb: int
    confine: bool
    programs: bool
    plugins: tuple[Path, ...]  # folders that stay readable, wherever they are
    hidden: tuple[Path, ...]  # folders with other jobs' files

    @classmethod
    def of(cls, limits: HasLimits, plugins: Sequence[Path], hidden: Sequence[Path]) -> Cell:
        return cls(
            limits.seconds,
            limits.memory_mb,
            limits.disk_mb,
            limits.confine,
            limits.programs,
            tuple(plugins),
            tuple(hidden),
        )


def shut_in(cell: Cell, order: Order) -> None:
    """Bind this process to what its job may do. OSError: the system refused, and the job must not begin."""
    limit(cell)
    room = os.fspath(order.out / "work")  # made and emptied by the job itself
    os.environ["TMPDIR"] = room  # for libraries
    tempfile.tempdir = room
    if not cell.confine:
        return
    if landlock.version() or callfilter.available():
        callfilter.no_new_rights()
    if landlock.version():
        landlock.shut_in(order.out, _readable(cell, order), cell.hidden, programs=cell.programs)
    if callfilter.available():
        callfilter.refuse(programs=cell.programs)


def _readable(cell: Cell, order: Order) -> list[Path]:
    """What must be readable even if it lies in a folder that is hidden: the job's own files, and our own code."""
    code = [Path(sys.prefix), Path(sys.base_prefix), Path(__file__).parents[1], loading.shipped_folder()]
    profiles = [condition.profile for condition in order.conditions.values()]
    return [order.original, *order.ticket_files, *profiles, *cell.plugins, *code]


def limit(cell: Cell) -> None:
    """No core files, no flood of open files, no endless file; and a single huge request for memory fails at once.

    Memory and folders that grow bit by bit are the runner's to watch. Address space is not limited: libraries map far
    more of it than they use.
    """
    if sys.platform == "win32":
        return
    import resource

    for which, most in (
        (resource.RLIMIT_CORE, 0),
        (resource.RLIMIT_NOFILE, _OPEN_FILES),
        (resource.RLIMIT_DATA, (cell.memory_mb * 2 + 512) << 20),
        (resource.RLIMIT_FSIZE, cell.disk_mb << 20),
        # Should the runner not be there to look at the clock.
        (resource.RLIMIT_CPU, math.ceil(cell.seconds) * (os.cpu_count() or 1) + _SPARE_SECONDS),
    ):
        hard = resource.getrlimit(which)[1]
        if hard != resource.RLIM_INFINITY:
            most = min(most, hard)
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(which, (most, most))


def disk_used(folder: Path) -> tuple[int, int]:
    """Bytes and files in a job's folder; it may change while it is looked through."""
    size = count = 0
    waiting = [os.fspath(folder)]
    while waiting and count <= MOST_FILES:
        with contextlib.suppress(OSError), os.scandir(waiting.pop()) as entries:
            for entry in entries:
                count += 1
                if entry.is_dir(follow_symlinks=False):
                    waiting.append(entry.path)
                else:
                    with contextlib.suppress(OSError):
                        found = entry.stat(follow_symlinks=False)
                        # Windows does not tell what is really taken up.
                        size += found.st_blocks * 512 if sys.platform != "win32" else found.st_size
    return size, count


# ---- in words


def told(limits: HasLimits, *, kernel: int | None = None, calls: bool | None = None) -> str:
    """What a job is kept from on this system, and what it is not, in one line. `kernel`, `calls`: for tests."""
    kernel = landlock.version() if kernel is None else kernel
    calls = callfilter.available() if calls is None else calls
    if not limits.confine:
        kernel, calls = 0, False
    kinds = [("writing outside its own folder and reading other jobs' files", bool(kernel))]
    if kernel >= 4 and not calls:
        kinds += [("the network by TCP", True), ("the network in other ways", False)]
    else:
        kinds.append(("the network", calls))
    if not limits.programs:
        kinds.append(("starting other programs", calls))
    kinds.append(("ending other programs of this user", kernel >= 6))
    kept, left = (", ".join(what for what, is_kept in kinds if is_kept is wanted) for wanted in (True, False))
    why = "this system has no means for it" if limits.confine else "confine is false under [limits]"
    parts = [
        f"Each job is kept from {kept}." if kept else "",
        f"{'It' if kept else 'A job'} is not kept from {left}: {why}." if left else "",
    ]
    return " ".join(part for part in parts if part)
