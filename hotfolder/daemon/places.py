"""Remembers on which disk or share each folder lay, so that a share that is away is not taken for an empty folder.

Where a share is taken off, its mount point stays: an empty folder of the disk below. A folder made in there would be
covered, with all that was put into it, as soon as the share is back.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Callable
from pathlib import Path

from hotfolder.daemon.files import Files


class Places:
    """The folders that were seen, each with the mount point it lay below; kept in a small file of the spool."""

    def __init__(self, file: Path, files: Files, is_mount: Callable[[str], bool] = os.path.ismount) -> None:
        self._file, self._files, self._is_mount = file, files, is_mount
        self._mounts = self._read()

    def known(self, folder: Path) -> bool:
        """Whether the folder was there before."""
        return os.fspath(folder) in self._mounts

    def away(self, folder: Path) -> str | None:
        """The mount point below which the folder lay, if nothing is mounted there now."""
        mount = self._mounts.get(os.fspath(folder), "")
        return mount if mount and not self._is_mount(mount) else None

    def need(self, folder: Path) -> None:
        """OSError where the folder's disk is away: nothing may be put where it seems to be."""
        if self.away(folder) is not None:
            raise OSError(errno.ENODEV, "The disk or share on which it lay is away", os.fspath(folder))

    def remember(self, *folders: Path) -> None:
        """Note where folders lie that are there now. A note that can't be written is made at the next look."""
        found = {os.fspath(folder): self._mount_of(folder) for folder in folders}
        before = self._mounts
        if found.items() <= before.items():
            return
        self._mounts = {**before, **found}
        try:
            self._files.write(self._file, json.dumps(self._mounts, indent=1).encode())
        except OSError:
            self._mounts = before

    def _mount_of(self, folder: Path) -> str:
        """The mount point, empty where it is the system's own disk, which can't be away."""
        at = os.path.realpath(folder)
        while not self._is_mount(at):
            above = os.path.dirname(at)  # noqa: PTH120 (what ismount takes)
            if above == at:
                break
            at = above
        return "" if at == os.path.realpath(os.sep) else at

    def _read(self) -> dict[str, str]:
        try:
            data = json.loads(self._files.read(self._file))
        except (OSError, ValueError):
            return {}
        sound = isinstance(data, dict) and all(isinstance(mount, str) for mount in data.values())
        return data if sound else {}
