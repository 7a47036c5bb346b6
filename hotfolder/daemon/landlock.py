"""Keeps a job's process out of all folders but its own, by Linux' Landlock: even a hostile file can't reach further.

Landlock is Linux' own (Documentation/userspace-api/landlock.rst); its three calls have no name in Python or the C
library, so they are made by number. It binds the process that asks for it and all it starts, and can't be undone.
"""

from __future__ import annotations

import ctypes
import os
import struct
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

_CREATE_RULESET, _ADD_RULE, _RESTRICT_SELF = 444, 445, 446  # the same on every kind of processor
_VERSION, _PATH_BENEATH = 1, 1
#: From this version on a file may be renamed from one folder into another, which every job does.
_LEAST = 2

# linux/landlock.h; the comment tells from which version on
_EXECUTE, _WRITE_FILE, _READ_FILE, _READ_DIR = 1 << 0, 1 << 1, 1 << 2, 1 << 3
_REMOVE_DIR, _REMOVE_FILE, _MAKE_DIR, _MAKE_REG = 1 << 4, 1 << 5, 1 << 7, 1 << 8
_ALL = (1 << 13) - 1
_REFER, _TRUNCATE, _IOCTL_DEV = 1 << 13, 1 << 14, 1 << 15  # 2, 3, 5
_TCP = 0b11  # 4: to bind and to connect
_SCOPES = 0b11  # 6: abstract sockets and signals reach no process outside

#: In its own folder: no links that lead out, no pipes, sockets or devices.
_OWN = _WRITE_FILE | _READ_FILE | _READ_DIR | _REMOVE_DIR | _REMOVE_FILE | _MAKE_DIR | _MAKE_REG | _REFER | _TRUNCATE
_DEVICES = (Path("/dev/null"), Path("/dev/full"))


def version() -> int:
    """Which version the kernel offers; 0 where none is of use."""
    if sys.platform != "linux":
        return 0
    found = int(ctypes.CDLL(None).syscall(_CREATE_RULESET, None, ctypes.c_size_t(0), _VERSION))
    return found if found >= _LEAST else 0


def shut_in(own: Path, readable: Iterable[Path], hidden: Sequence[Path], *, programs: bool) -> None:
    """From now on: write in `own` alone, read everything but what is in `hidden` (though `readable` and `own` there).

    File names can be listed everywhere, and a file's size and dates be seen. `programs`: whether they may be started.
    OSError where the kernel refuses.
    """
    offered = version()
    handled = _ALL | _REFER
    handled |= (_TRUNCATE if offered >= 3 else 0) | (_IOCTL_DEV if offered >= 5 else 0)
    sizes = struct.pack("=QQQ", handled, _TCP, _SCOPES)[: 24 if offered >= 6 else 16 if offered >= 4 else 8]
    rules = _call(_CREATE_RULESET, sizes, ctypes.c_size_t(len(sizes)), 0)
    try:
        look = _READ_FILE | (_EXECUTE if programs else 0)
        _allow(rules, Path("/"), _READ_DIR)
        for path in _around(Path("/"), hidden):
            _allow(rules, path, look)
        for path in readable:
            _allow(rules, path, look)
        for path in _DEVICES:
            _allow(rules, path, _READ_FILE | _WRITE_FILE | (_TRUNCATE & handled))
        _allow(rules, own, _OWN & handled)
        _call(_RESTRICT_SELF, rules, 0)
    finally:
        os.close(rules)


def _around(folder: Path, hidden: Sequence[Path]) -> Iterator[Path]:
    """All that is below a folder save what is hidden, in as few places as can be."""
    shut = {os.path.realpath(path) for path in hidden}
    leading = {os.fspath(above) for path in shut for above in Path(path).parents}
    waiting = [os.fspath(folder)] if leading else []
    if not leading:
        yield folder
    while waiting:
        try:
            entries = list(os.scandir(waiting.pop()))
        except OSError:  # what can't be listed stays hidden
            continue
        for entry in entries:
            if entry.path in leading and entry.path not in shut:
                waiting.append(entry.path)
            elif entry.path not in shut and not entry.is_symlink():
                yield Path(entry.path)


def _allow(rules: int, path: Path, what: int) -> None:
    try:
        place = os.open(path, os.O_PATH | os.O_CLOEXEC)
    except OSError:  # gone meanwhile, or not for us anyway
        return
    try:
        _call(_ADD_RULE, rules, _PATH_BENEATH, struct.pack("=Qi", what, place), 0)
    finally:
        os.close(place)


def _call(number: int, *arguments: object) -> int:
    libc = ctypes.CDLL(None, use_errno=True)
    done = int(libc.syscall(number, *arguments))
    if done < 0:
        raise OSError(ctypes.get_errno(), "the job's process could not be shut in")
    return done
