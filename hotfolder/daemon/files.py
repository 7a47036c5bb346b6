"""Every move, write and removal the daemon makes goes through here, so that a test can stop it before and after each.

Nothing here ever replaces a file of somebody else's: `rename` refuses a name that is taken.
"""

from __future__ import annotations

import ctypes
import errno
import hashlib
import os
import re
import stat
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Literal

When = Literal["before", "inside", "after"]

_CHUNK = 1 << 20
_NOREPLACE = 1  # RENAME_NOREPLACE, Linux renameat2(2)
_AT_FDCWD = -100
#: What a file system says that has no such call.
_UNSUPPORTED = {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EPERM, errno.EMLINK}


@dataclass(frozen=True)
class Stamp:
    """What tells that a file is still the same: changes of content move at least one of these."""

    device: int
    inode: int
    size: int
    mtime_ns: int
    ctime_ns: int

    @classmethod
    def of(cls, found: os.stat_result) -> Stamp:
        return cls(found.st_dev, found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns)

    def same_content(self, other: Stamp) -> bool:
        """Alike but for ctime, which a rename moves too."""
        return (self.inode, self.size, self.mtime_ns) == (other.inode, other.size, other.mtime_ns)


def _libc_rename() -> ctypes._NamedFuncPointer | None:
    if not sys.platform.startswith("linux"):
        return None
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):  # a C library without it
        return None
    call.argtypes = [ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_uint]
    return call


class Files:
    """The calls. A test's subclass overrides `point`, which every one of them passes."""

    _no_replace = _libc_rename()  # None: two names for an instant do instead

    def point(self, when: When, call: str, path: Path) -> None:
        """Does nothing. Tests die or raise here."""

    def _flush(self, handle: int) -> None:
        os.fsync(handle)

    # ---- looking

    def list(self, folder: Path) -> list[os.DirEntry[str]]:
        """What a folder holds, sorted by name."""
        self.point("before", "list", folder)
        with os.scandir(folder) as entries:
            return sorted(entries, key=lambda entry: entry.name)

    def look(self, path: Path) -> Stamp | None:
        """The stamp of a regular file; None where there is none. Symbolic links count as none."""
        self.point("before", "look", path)
        try:
            found = path.lstat()
        except (FileNotFoundError, NotADirectoryError):
            return None
        return Stamp.of(found) if stat.S_ISREG(found.st_mode) else None

    def there(self, path: Path) -> bool:
        """Whether the name is taken, by anything at all."""
        self.point("before", "there", path)
        return os.path.lexists(path)

    def same(self, path: Path, other: Path) -> bool:
        """Whether both are names of one and the same file."""
        identity = _identity(path)
        return identity is not None and identity == _identity(other)

    def read(self, path: Path) -> bytes:
        self.point("before", "read", path)
        return path.read_bytes()

    def digest(self, path: Path) -> str:
        """SHA-256 of a file's bytes, hexadecimal."""
        self.point("before", "digest", path)
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()

    # ---- changing

    def mkdir(self, folder: Path) -> None:
        """Make the folder and what is missing above it."""
        self.point("before", "mkdir", folder)
        folder.mkdir(parents=True, exist_ok=True)
        self.point("after", "mkdir", folder)

    def mkdir_lasting(self, folder: Path) -> None:
        """The same, and it is still there when the power has gone: a new folder is a name in the one above it."""
        missing = [each for each in (folder, *folder.parents) if not self.there(each)]
        self.mkdir(folder)
        for each in reversed(missing):
            self.sync(each.parent)

    def rename(self, source: Path, target: Path) -> None:
        """Move within one file system. FileExistsError where the name is taken, OSError EXDEV across file systems."""
        before = _identity(source)
        self.point("before", "rename", target)
        try:
            self._rename(source, target)
            self.point("after", "rename", target)
        except OSError:
            # Network file systems lose replies: the move was made, its repetition says that the source is missing.
            if before is None or _identity(source) is not None or _identity(target) != before:
                raise

    def _rename(self, source: Path, target: Path) -> None:
        """Rename, never onto a name that is taken."""
        if sys.platform == "win32":  # refuses by itself
            source.rename(target)
            return
        if self._no_replace is not None:
            if self._no_replace(_AT_FDCWD, os.fsencode(source), _AT_FDCWD, os.fsencode(target), _NOREPLACE) == 0:
                return
            code = ctypes.get_errno()
            if code not in _UNSUPPORTED:
                raise OSError(code, os.strerror(code), os.fspath(source), None, os.fspath(target))
        if source.is_dir():  # onto a folder that holds something the plain call refuses too; ours have names by chance
            source.rename(target)
            return
        try:
            os.link(source, target, follow_symlinks=False)
        except FileExistsError:
            if not self.same(source, target):
                raise  # else it is the very file: a move broken off in the middle, or a lost reply
        except OSError as error:
            if error.errno not in _UNSUPPORTED:
                raise
            # Neither call exists here (some network shares). Look first; two writers in the same instant could still meet.
            if os.path.lexists(target):
                raise FileExistsError(
                    errno.EEXIST, os.strerror(errno.EEXIST), os.fspath(source), None, os.fspath(target)
                ) from None
            source.rename(target)
            return
        self.point("inside", "rename", target)
        self.sync(target.parent)  # the new name first: else a power cut may leave none
        source.unlink()

    def unlink(self, path: Path) -> None:
        """Remove a file of our own; that it is gone already is as good."""
        self.point("before", "unlink", path)
        path.unlink(missing_ok=True)
        self.point("after", "unlink", path)

    def rmdir(self, folder: Path) -> None:
        """Remove an empty folder of our own; that it is gone already is as good."""
        self.point("before", "rmdir", folder)
        try:
            folder.rmdir()
        except FileNotFoundError:
            return
        self.point("after", "rmdir", folder)

    def remove_tree(self, folder: Path) -> None:
        """Remove a folder of our own with all it holds; links in it are removed, not followed."""
        try:
            entries = self.list(folder)
        except FileNotFoundError:
            return
        for entry in entries:
            path = Path(entry.path)
            if entry.is_dir(follow_symlinks=False):
                self.remove_tree(path)
            else:
                self.unlink(path)
        self.rmdir(folder)

    def sync(self, path: Path) -> None:
        """Bring a file's bytes, or a folder's names, onto the disk."""
        self.point("before", "sync", path)
        folder = path.is_dir()
        if folder and sys.platform == "win32":  # there folders can't be opened; the file system's journal keeps names
            return
        handle = os.open(path, os.O_RDONLY if folder or sys.platform != "win32" else os.O_RDWR)
        try:
            self._flush(handle)
        except OSError as error:
            if not folder or error.errno not in _UNSUPPORTED:  # some network file systems can't sync a folder
                raise
        finally:
            os.close(handle)

    def write(self, path: Path, data: bytes) -> None:
        """Write a small file of our own: all of it or none of it is ever seen. Replaces an earlier one."""
        beside = path.with_name(f".{path.name}.new")
        self.point("before", "write", path)
        with beside.open("wb") as stream:
            stream.write(data[: len(data) // 2])
            stream.flush()
            self.point("inside", "write", path)
            stream.write(data[len(data) // 2 :])
            stream.flush()
            self._flush(stream.fileno())
        self.point("before", "replace", path)
        beside.replace(path)
        self.point("after", "replace", path)
        self.sync(path.parent)

    def build(self, path: Path, fill: Callable[[BinaryIO], None]) -> None:
        """Write a large file of our own: all of it or none of it is ever seen. Replaces an earlier one."""
        beside = path.with_name(f".{path.name}.new")
        self.point("before", "build", path)
        with beside.open("wb") as stream:
            fill(stream)
            self.point("inside", "build", path)
            stream.flush()
            self._flush(stream.fileno())
        beside.replace(path)
        self.point("after", "build", path)
        self.sync(path.parent)

    def link(self, source: Path, target: Path) -> None:
        """Give a file a second name on the same file system; a copy where that can't be."""
        self.point("before", "link", target)
        try:
            os.link(source, target, follow_symlinks=False)
        except OSError as error:
            if error.errno not in _UNSUPPORTED:
                raise
            self.copy(source, target)
        self.point("after", "link", target)

    def copy(self, source: Path, target: Path) -> None:
        """Copy to another file system, onto its disk, and read back what arrived. OSError EIO where it differs.

        The target is a name of our own that nobody looks at yet; an earlier, unfinished copy is overwritten.
        """
        self.point("before", "copy", target)
        digest = hashlib.sha256()
        with source.open("rb") as come, target.open("wb") as go:
            while chunk := come.read(_CHUNK):
                digest.update(chunk)
                go.write(chunk)
                self.point("inside", "copy", target)
            go.flush()
            # Its date goes onto the disk with its bytes: by both of them it is known again.
            os.utime(target, ns=(source.stat().st_atime_ns, source.stat().st_mtime_ns))
            self._flush(go.fileno())
        if self.digest(target) != digest.hexdigest():
            raise OSError(errno.EIO, "the copy differs from what was copied", os.fspath(target))
        self.point("after", "copy", target)


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.lstat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


#: Where no events come from other machines, leases don't work, and a database's locks can't be trusted.
_NETWORK = {
    "nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afs", "ceph", "lustre", "beegfs", "gfs2", "ocfs2", "fuse.sshfs",
    "fuse.davfs", "fuse.rclone", "fuse.glusterfs", "fuse.ceph", "fuse.s3fs", "fuse.gvfsd-fuse",
}  # fmt: skip


def on_network(path: Path, mounts: Path = Path("/proc/self/mountinfo")) -> bool:
    """Whether the path lies on a file system of another machine, as far as this one can tell."""
    return file_system(path, mounts) in _NETWORK


def file_system(path: Path, mounts: Path = Path("/proc/self/mountinfo")) -> str:
    """The kind of file system that the path lies on, as Linux calls it; empty elsewhere."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return ""
    real, best, kind = os.path.realpath(path), "", ""
    for line in lines:
        before, _, after = line.partition(" - ")
        at = _OCTAL.sub(lambda match: chr(int(match[1], 8)), before.split()[4])
        inside = real == at or real.startswith(at.rstrip("/") + "/")
        if inside and len(at) >= len(best):  # a later mount over the same place covers the earlier
            best, kind = at, after.split()[0]
    return kind


_OCTAL = re.compile(r"\\([0-7]{3})")  # how spaces and the like are written there (proc(5))
