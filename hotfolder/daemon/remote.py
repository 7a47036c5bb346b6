"""Brings files to another machine: under a hidden name first, then renamed, so that nobody there sees half a file.

Any address that the library fsspec knows (the extra `remote`): sftp://, s3://, smb:// ... It neither waits for the
far side's disk nor locks a name there: another writer who takes the same name in the same instant is not noticed.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from hotfolder.daemon.files import Files
from hotfolder.daemon.publish import Member

_PLAN = "sent.json"


class Remote:
    """One parcel's way to an address. `home`: its folder in the spool, which remembers how far it has come."""

    def __init__(self, files: Files, to: str, home: Path, job: str) -> None:
        self._files, self._home, self._job = files, home, job
        self._system, self._folder = _open(to)
        self._made = False

    @property
    def begun(self) -> bool:
        return self._files.there(self._home / _PLAN)

    def taken(self, name: str) -> bool:
        self._make_folder()
        return bool(self._system.exists(self._at(name)))

    def send(self, members: Sequence[Member]) -> list[str]:
        """Bring the members there in this order; their names. May be repeated: what has arrived is not sent again."""
        sent = json.loads(self._files.read(self._home / _PLAN)) if self.begun else []
        if not sent:
            self._write(sent)
        self._make_folder()
        for place, member in enumerate(members):
            hidden, final = self._at(f".hotfolder-{self._job}-{place}.part"), self._at(member.stem + member.ending)
            if place >= len(sent):
                self._upload(self._home / member.source, hidden)
                sent.append(member.source)
                self._write(sent)
            if not self._system.exists(hidden):
                continue  # it has its name already, or was fetched by those it was meant for
            if self._system.exists(final):
                self._begin_again()
                raise OSError(errno.EEXIST, "the name was taken meanwhile", member.stem + member.ending)
            self._files.point("before", "move", Path(final))
            self._system.mv(hidden, final)
            self._files.point("after", "move", Path(final))
        return [member.stem + member.ending for member in members]

    def _upload(self, source: Path, hidden: str) -> None:
        self._files.point("before", "upload", Path(hidden))
        self._system.put_file(os.fspath(source), hidden)
        self._files.point("after", "upload", Path(hidden))
        size, there = source.stat().st_size, self._system.info(hidden).get("size")
        if there is not None and there != size:
            raise OSError(errno.EIO, f"{there} of {size} bytes arrived", hidden)

    def _begin_again(self) -> None:
        """Under another name, from the start."""
        self._files.unlink(self._home / _PLAN)

    def _write(self, sent: list[str]) -> None:
        self._files.write(self._home / _PLAN, json.dumps(sent).encode())

    def _make_folder(self) -> None:
        if not self._made:
            self._system.makedirs(self._folder, exist_ok=True)
            self._made = True

    def _at(self, name: str) -> str:
        return f"{self._folder.rstrip('/')}/{name}"


def _open(to: str) -> tuple[Any, str]:
    try:
        from fsspec.core import url_to_fs
    except ImportError as error:
        raise OSError(errno.ENOSYS, "addresses need hotfolder's extra `remote`, which is not installed") from error
    system, folder = url_to_fs(to)
    system.invalidate_cache()  # what somebody else put there meanwhile counts
    return system, folder
