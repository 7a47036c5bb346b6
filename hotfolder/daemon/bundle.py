"""Puts a finished job's files into one zip with a list of checksums that anybody can check with `sha256sum -c`."""

from __future__ import annotations

import datetime as dt
import hashlib
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO

_CHUNK = 1 << 20
_PACKED = (".pdf", ".jpg")  # packed inside already
_EARLIEST = (1980, 1, 1, 0, 0, 0)  # of a date in a zip (APPNOTE 4.4.6)


def checksums(files: Sequence[tuple[Path, str]]) -> bytes:
    """A line for each file, by its name: `<SHA-256>  <name>`, as GNU coreutils' sha256sum writes and reads it.

    The names are ours: none holds a backslash or a line break, which that form would have to escape.
    """
    lines = []
    for path, name in files:
        with path.open("rb") as stream:
            lines.append(f"{hashlib.file_digest(stream, 'sha256').hexdigest()}  {name}\n")
    return "".join(lines).encode()


def write_zip(target: BinaryIO, files: Sequence[tuple[Path, str]], when: dt.datetime) -> None:
    """All files side by side in one zip. The same files and time make the same bytes.

    Names are UTF-8 and flagged so (APPNOTE 4.4.4, bit 11); ValueError for one that would lead out of a folder.
    """
    date = max(when.astimezone(dt.UTC).timetuple()[:6], _EARLIEST)
    with zipfile.ZipFile(target, "w") as bundle:
        for path, name in files:
            if "/" in name or "\\" in name or ":" in name or name in {"", ".", ".."}:
                raise ValueError(f"{name!r} is no name for a file in a zip")
            entry = zipfile.ZipInfo(name, date)
            entry.create_system, entry.external_attr = (
                3,
                0o100644 << 16,
            )  # readable for all, also where unpacked on Unix
            entry.compress_type = zipfile.ZIP_STORED if name.endswith(_PACKED) else zipfile.ZIP_DEFLATED
            entry.file_size = path.stat().st_size  # tells whether the long form of sizes is needed
            with path.open("rb") as come, bundle.open(entry, "w") as go:
                while chunk := come.read(_CHUNK):
                    go.write(chunk)
