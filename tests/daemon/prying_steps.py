"""A plugin whose step tries what the artwork's name says: everything that a job must not be able to do."""

from __future__ import annotations

import ctypes
import mmap
import os
import resource
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable
from pathlib import Path

import pyvips

from hotfolder import plugin

LIBC = ctypes.CDLL(None, use_errno=True)


def outside() -> Path:
    return Path(os.environ["OUTSIDE"])


def call(number: int, *arguments: object) -> None:
    if LIBC.syscall(number, *arguments) < 0:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))


def other_memory() -> None:
    with Path(f"/proc/{os.getppid()}/mem").open("r+b", buffering=0):
        pass


def big_file(job: plugin.Job) -> None:
    with (job.work / "big").open("wb") as stream:
        while True:
            stream.write(bytes(8 << 20))


def big_files(job: plugin.Job) -> None:
    for number in range(1000):
        (job.work / str(number)).write_bytes(bytes(8 << 20))
        time.sleep(0.02)


def many_files(job: plugin.Job) -> None:
    for number in range(10_000_000):
        (job.work / str(number)).touch()


def shared_memory(job: plugin.Job) -> None:
    kept = []
    while True:
        kept.append(mmap.mmap(-1, 10 << 20))
        kept[-1].write(b"x" * (10 << 20))


def many_threads(job: plugin.Job) -> None:
    for _ in range(100_000):
        threading.Thread(target=time.sleep, args=(1000,), daemon=True).start()


def temporary_files(job: plugin.Job) -> None:
    """Ours and libvips' lie in the job's own folder."""
    with tempfile.NamedTemporaryFile() as ours:
        assert Path(ours.name).parent == job.work
    theirs = pyvips.Image.new_temp_file("%s.v")
    pyvips.Image.black(64, 64).copy_memory().write(theirs)
    opened = [str(path.readlink()) for path in Path("/proc/self/fd").iterdir() if path.is_symlink()]
    assert any(name.startswith(f"{job.work}/") for name in opened), opened


def within(job: plugin.Job) -> None:
    """What a job needs: files of its own, moved about; its artwork and ticket; threads; programs' libraries."""
    (job.work / "a folder").mkdir()
    (job.work / "a folder" / "a file").write_text("words")
    (job.work / "a folder" / "a file").rename(job.work.parent / "a file")
    (job.work.parent / "a file").unlink()
    (job.work / "a copy").write_bytes(job.original.read_bytes())
    thread = threading.Thread(target=lambda: (job.work / "of a thread").touch())
    thread.start()
    thread.join()
    assert (job.work / "of a thread").exists()
    with Path("/dev/null").open("wb") as stream:
        stream.write(b"x")
    os.listdir(outside())
    left, right = socket.socketpair()
    left.close()
    right.close()
    resource.getrlimit(resource.RLIMIT_NOFILE)


def without_effect(job: plugin.Job) -> None:
    os.chmod(outside() / "theirs", 0)  # noqa: PTH101
    os.utime(outside() / "theirs", (1, 1))
    os.chown(outside() / "theirs", 1, 1)


#: What is tried; the step is to fail in it.
TRIED: dict[str, Callable[[plugin.Job], object]] = {
    "socket": lambda job: socket.socket(),
    "socket6": lambda job: socket.socket(socket.AF_INET6, socket.SOCK_DGRAM),
    "socket of files": lambda job: socket.socket(socket.AF_UNIX),
    "socket of the kernel": lambda job: socket.socket(socket.AF_NETLINK, socket.SOCK_RAW),
    "web": lambda job: urllib.request.urlopen("http://127.0.0.1:1/"),
    "ring": lambda job: call(425, 8, ctypes.create_string_buffer(120)),
    "write": lambda job: (outside() / "new").write_text("x"),
    "overwrite": lambda job: (outside() / "theirs").write_text("x"),
    "shorten": lambda job: os.truncate(outside() / "theirs", 0),
    "remove": lambda job: (outside() / "theirs").unlink(),
    "rename": lambda job: (outside() / "theirs").rename(outside() / "taken"),
    "take": lambda job: (outside() / "theirs").rename(job.work / "taken"),
    "link": lambda job: (job.work / "taken").hardlink_to(outside() / "theirs"),
    "point out": lambda job: (job.work / "taken").symlink_to(outside() / "theirs"),
    "folder": lambda job: (outside() / "new").mkdir(),
    "shared": lambda job: Path("/dev/shm/hotfolder-test").write_text("x"),
    "temporary": lambda job: Path("/tmp/hotfolder-test").write_text("x"),
    "original": lambda job: job.original.write_bytes(b"x"),
    "original away": lambda job: job.original.unlink(),
    "device": lambda job: os.mknod(job.work / "device", 0o020666, os.makedev(1, 8)),
    "pipe": lambda job: os.mkfifo(job.work / "pipe"),
    "read": lambda job: (outside() / "theirs").read_text(),
    "read up": lambda job: (job.work / ".." / ".." / ".." / "outside" / "theirs").read_text(),
    "fork": lambda job: os.fork(),
    "program": lambda job: subprocess.run(["true"], check=True),
    "become": lambda job: os.execv(sys.executable, [sys.executable, "-c", "pass"]),
    "kill": lambda job: os.kill(os.getppid(), 0),
    "limits": lambda job: resource.prlimit(os.getppid(), resource.RLIMIT_NOFILE, (3, 3)),
    "memory": lambda job: other_memory(),
    "trace": lambda job: call(101, 16, os.getppid(), 0, 0),
    "mount": lambda job: call(165, b"none", b"/mnt", b"tmpfs", 0, 0),
    "user": lambda job: call(272, 0x10000000),
}
DONE: dict[str, Callable[[plugin.Job], object]] = {
    "temporary files": temporary_files,
    "within": within,
    "without effect": without_effect,
}
STOPPED: dict[str, tuple[Callable[[plugin.Job], object], str]] = {
    "big file": (big_file, "too_much_disk"),
    "big files": (big_files, "too_much_disk"),
    "many files": (many_files, "too_much_disk"),
    "shared memory": (shared_memory, "too_much_memory"),
    "many threads": (many_threads, "fault or worker_died"),
}


class PryAbout(plugin.Opener):
    """Opens nothing."""

    name = "pry_about"

    @classmethod
    def recognises(cls, head: bytes) -> str:
        return "prying"

    def run(self, job: plugin.Job) -> None:
        deed = job.name.split(".")[0]
        every = TRIED | DONE | {name: tried for name, (tried, _) in STOPPED.items()}
        every[deed](job)
        job.hold("fine", "It came to its end.")


@plugin.hookimpl
def register_steps(register: Callable[[type[plugin.Step]], None]) -> None:
    register(PryAbout)
