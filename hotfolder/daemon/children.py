"""Starts worker processes and ends them: a copy of a loaded process where the system can do that, else a new one."""

from __future__ import annotations

import base64
import contextlib
import os
import pickle
import select
import signal
import socket
import struct
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import BinaryIO, Protocol

import hotfolder
from hotfolder.colour.condition import Condition

_START_SECONDS = 60.0


class Child(Protocol):
    """One worker process at one job."""

    pid: int
    orders: BinaryIO  # what it is to do goes in here
    messages: BinaryIO  # lines it sends
    errors: BinaryIO  # what it prints

    def wait(self, seconds: float) -> int | None:
        """Its exit status (negative: the signal that ended it), or None while it runs."""

    def kill(self) -> None:
        """End it and its session, without asking."""

    def close(self) -> None:
        """Let go of its lines."""


class Nursery(Protocol):
    """Where children come from. OSError: not now."""

    def start(self) -> Child: ...

    def warm(self) -> None: ...

    def close(self) -> None: ...


def nursery(
    plugin_folders: Sequence[Path], conditions: Sequence[Condition] = (), *, copies: bool | None = None
) -> Nursery:
    """The best this system has. `copies` chooses between the two kinds.

    `conditions`: the printing conditions that jobs will ask for, to be read before the first job.
    """
    if copies is None:
        copies = sys.platform == "linux"  # elsewhere system libraries don't bear being copied
    return Copies(plugin_folders, conditions) if copies else Starts(plugin_folders)


def _command(*arguments: str) -> list[str]:
    return [
        sys.executable,
        "-P",
        "-m",
        "hotfolder.daemon.worker",
        *arguments,
    ]  # -P: nothing is imported from where we stand


def _packed(plugin_folders: Sequence[Path], conditions: Sequence[Condition]) -> str:
    """What a worker loads before its first job, as one argument of its command."""
    return base64.b64encode(pickle.dumps((list(plugin_folders), list(conditions)))).decode("ascii")


def _environment() -> dict[str, str]:
    package = os.fspath(Path(hotfolder.__file__).parents[1])
    before = os.environ.get("PYTHONPATH")
    # One thread for linear algebra: its own threads would start while loading, and not survive the copying.
    return {
        **os.environ,
        "PYTHONPATH": f"{package}{os.pathsep}{before}" if before else package,
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
    }


# ---- copies of one loaded process


class Copies:
    """Keeps one loaded process and asks it for copies; starts it anew when it has died."""

    def __init__(self, plugin_folders: Sequence[Path], conditions: Sequence[Condition] = ()) -> None:
        self._load = _packed(plugin_folders, conditions)
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._control: socket.socket | None = None

    def start(self) -> Child:
        with self._lock:
            try:
                return self._ask()
            except (BrokenPipeError, ConnectionError, EOFError):
                self._end()
                try:
                    return self._ask()
                except EOFError as error:
                    raise ChildProcessError("the worker process does not start") from error

    def warm(self) -> None:
        with self._lock, contextlib.suppress(OSError, EOFError):  # the first job will tell
            if self._control is None:
                self._begin()

    def _ask(self) -> Child:
        control = self._control if self._control is not None else self._begin()
        ours, theirs = socket.socketpair()
        errors, errors_theirs = os.pipe()
        ended, ended_theirs = os.pipe()
        try:
            socket.send_fds(control, [b"j"], [theirs.fileno(), errors_theirs, ended_theirs])
        except BaseException:
            ours.close()
            os.close(errors)
            os.close(ended)
            raise
        finally:
            theirs.close()
            os.close(errors_theirs)
            os.close(ended_theirs)
        child = _Copy(ours, errors, ended)
        try:
            child.pid = child.number(_START_SECONDS)
        except EOFError:
            child.close()
            raise
        if child.pid < 0:
            child.close()
            raise BlockingIOError("the system has no room for another process")
        return child

    def _begin(self) -> socket.socket:
        ours, theirs = socket.socketpair()
        with theirs:
            command = _command("serve", str(theirs.fileno()), self._load)
            self._process = subprocess.Popen(
                command, pass_fds=[theirs.fileno()], stdin=subprocess.DEVNULL, env=_environment()
            )
        ours.settimeout(_START_SECONDS)
        if ours.recv(1) != b"k":
            ours.close()
            self._end()
            raise EOFError
        ours.settimeout(None)
        self._control = ours
        return ours

    def _end(self) -> None:
        if self._control is not None:
            self._control.close()
            self._control = None
        if self._process is not None:
            with contextlib.suppress(subprocess.TimeoutExpired):
                self._process.wait(5)
            if self._process.poll() is None:
                self._process.kill()
                self._process.wait()
            self._process = None

    def close(self) -> None:
        with self._lock:
            self._end()


class _Copy:
    def __init__(self, line: socket.socket, errors: int, ended: int) -> None:
        self.pid = 0
        self.orders: BinaryIO = line.makefile("wb")
        self.messages: BinaryIO = line.makefile("rb")
        self.errors: BinaryIO = os.fdopen(errors, "rb", buffering=0)
        self._line = line
        self._ended = ended
        self._status: int | None = None

    def number(self, seconds: float) -> int:
        """The next number from the process that made us. EOFError: it is gone."""
        readable, _, _ = select.select([self._ended], [], [], seconds)
        data = os.read(self._ended, 4) if readable else b""
        if len(data) < 4:
            raise EOFError
        return int(struct.unpack("=i", data)[0])

    def wait(self, seconds: float) -> int | None:
        if self._status is None and select.select([self._ended], [], [], seconds)[0]:
            try:
                self._status = self.number(0)
            except EOFError:  # the process we were copied from is gone, and we with it
                self._status = -signal.SIGKILL
        return self._status

    def kill(self) -> None:
        if self.wait(0) is None:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(self.pid, signal.SIGKILL)

    def close(self) -> None:
        for stream in (self.orders, self.messages, self.errors):
            with contextlib.suppress(OSError):
                stream.close()
        self._line.close()
        os.close(self._ended)


# ---- a new process each time


class Starts:
    """Starts a process for each job; it takes about a second to load."""

    def __init__(self, plugin_folders: Sequence[Path], conditions: Sequence[Condition] = ()) -> None:
        self._load = _packed(plugin_folders, conditions)

    def start(self) -> Child:
        return _Started(
            subprocess.Popen(
                _command("once", self._load),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                env=_environment(),
                start_new_session=True,
            )
        )

    def warm(self) -> None:
        pass

    def close(self) -> None:
        pass


class _Started:
    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stderr is not None
        self.pid = process.pid
        self.orders: BinaryIO = process.stdin  # type: ignore[assignment]
        self.messages: BinaryIO = process.stdout  # type: ignore[assignment]
        self.errors: BinaryIO = process.stderr  # type: ignore[assignment]
        self._process = process

    def wait(self, seconds: float) -> int | None:
        try:
            return self._process.wait(seconds)
        except subprocess.TimeoutExpired:
            return None

    def kill(self) -> None:
        if self._process.poll() is None:
            if sys.platform == "win32":
                self._process.kill()
            else:
                with contextlib.suppress(ProcessLookupError, PermissionError):
                    os.killpg(self.pid, signal.SIGKILL)

    def close(self) -> None:
        for stream in (self.orders, self.messages, self.errors):
            with contextlib.suppress(OSError):
                stream.close()
        self._process.wait()
