"""Does one job in a process of its own, within limits, and always comes back with a record of it."""

from __future__ import annotations

import errno
import json
import pickle
import shutil
import signal
import struct
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from hotfolder import work
from hotfolder.colour.condition import Condition
from hotfolder.daemon.children import Child, nursery
from hotfolder.daemon.confined import MOST_FILES, Cell, HasLimits, disk_used
from hotfolder.record import JobRecord

_LOOK = 0.05  # seconds between two looks at a worker's memory
_LOOK_AT_DISK = 1.0  # and at its folder
_LONGEST_RECORD = 64 << 20
_TAIL = 8000  # bytes kept of what a worker prints
_LONGEST_LINE = 4096
_TROUBLE = 75  # as in worker.py

_AGAIN = "Export the artwork again, best with another program or another PDF setting, and drop the new file."


class Stopped(Exception):
    """The runner was told to stop; the job was laid down in the middle."""


@dataclass(frozen=True)
class _Failure:
    code: str
    message: str
    mend: str
    detail: str = ""


class Runner:
    """Runs jobs, from any thread. `close` ends the processes it keeps.

    A worker that dies may have been dragged down by another job's file, so its job is done once more, alone. `hidden`:
    folders with other jobs' files, which a job must not read.
    """

    def __init__(
        self,
        plugin_folders: Sequence[Path],
        limits: HasLimits,
        conditions: Sequence[Condition] = (),
        *,
        hidden: Sequence[Path] = (),
        copies: bool | None = None,
    ) -> None:
        self._limits = limits
        self._cell = Cell.of(limits, plugin_folders, hidden)
        self._nursery = nursery(plugin_folders, conditions, copies=copies)
        self._gate = _Gate()
        self._stopping = threading.Event()

    def run(self, order: work.Order, heard: Callable[[str], None] | None = None) -> JobRecord:
        """The job's record; its files stand in `order.out`. OSError: not the artwork's fault, try again later."""
        with self._gate.together():
            ended = self._try(order, heard)
        if isinstance(ended, _Failure) and ended.code == "worker_died":
            empty(order.out)
            with self._gate.alone():
                ended = self._try(order, heard)
        if isinstance(ended, JobRecord):
            return ended
        empty(order.out)
        return work.write_failure(order, ended.code, ended.message, ended.mend, ended.detail)

    def warm(self) -> None:
        """Load what jobs need, beside other work, so that the first job does not wait for it."""
        threading.Thread(target=self._nursery.warm, daemon=True).start()

    def stop(self) -> None:
        """End what runs; every `run` at work raises Stopped."""
        self._stopping.set()

    def close(self) -> None:
        self.stop()
        self._nursery.close()

    # ---- one try

    def _try(self, order: work.Order, heard: Callable[[str], None] | None) -> JobRecord | _Failure:
        if self._stopping.is_set():
            raise Stopped
        child = self._nursery.start()
        listener = _Listener(child, heard)
        try:
            with suppress(BrokenPipeError, ConnectionError):
                data = pickle.dumps((order, self._cell))
                child.orders.write(struct.pack("!Q", len(data)) + data)
                child.orders.flush()
            ended = self._attend(child, order.out)
        finally:
            child.kill()
            while child.wait(1) is None:
                child.kill()
            listener.finish()
            child.close()
        if isinstance(ended, _Failure):
            return ended
        if ended == _TROUBLE and listener.trouble is not None:
            if listener.trouble.errno == errno.EFBIG:  # by the limit on files; no disk of today has a lower one
                return _too_much_disk(self._limits.disk_mb)
            raise listener.trouble
        return _read_record(order) if ended == 0 else _died(ended, listener.tail)

    def _attend(self, child: Child, out: Path) -> int | _Failure:
        now = time.monotonic()
        end, look = now + self._limits.seconds, now + _LOOK_AT_DISK
        while (status := child.wait(_LOOK)) is None:
            if self._stopping.is_set():
                raise Stopped
            now = time.monotonic()
            if now > end:
                return _too_slow(self._limits.seconds)
            used = memory_used(child.pid)
            if used is not None and used > self._limits.memory_mb << 20:
                return _too_much_memory(self._limits.memory_mb)
            if now > look:
                look = now + _LOOK_AT_DISK
                size, count = disk_used(out)
                if size > self._limits.disk_mb << 20 or count > MOST_FILES:
                    return _too_much_disk(self._limits.disk_mb)
        return status


class _Listener:
    """Reads what a worker sends and prints, so that it never has to wait for us."""

    def __init__(self, child: Child, heard: Callable[[str], None] | None) -> None:
        self.trouble: OSError | None = None
        self.tail = b""
        self._heard = heard
        self._threads = [
            threading.Thread(target=self._messages, args=(child.messages,), daemon=True),
            threading.Thread(target=self._errors, args=(child.errors,), daemon=True),
        ]
        for thread in self._threads:
            thread.start()

    def finish(self) -> None:
        for thread in self._threads:  # a process that fled from the session may hold the line open
            thread.join(1)

    def _messages(self, stream: BinaryIO) -> None:
        with suppress(OSError, ValueError):
            while line := stream.readline(_LONGEST_LINE):
                self._message(line)

    def _message(self, line: bytes) -> None:
        try:
            message = json.loads(line)
        except ValueError:
            return
        if not isinstance(message, dict):
            return
        if self._heard is not None and isinstance(message.get("step"), str):
            self._heard(message["step"])
        if isinstance(message.get("trouble"), int):
            self.trouble = OSError(message["trouble"], str(message.get("words", "")))

    def _errors(self, stream: BinaryIO) -> None:
        with suppress(OSError, ValueError):
            while chunk := stream.read(_TAIL):
                self.tail = (self.tail + chunk)[-_TAIL:]


class _Gate:
    """Lets jobs through together, or one alone when no other is inside."""

    def __init__(self) -> None:
        self._change = threading.Condition()
        self._inside = 0
        self._shut = False

    @contextmanager
    def together(self) -> Iterator[None]:
        with self._change:
            self._change.wait_for(lambda: not self._shut)
            self._inside += 1
        try:
            yield
        finally:
            with self._change:
                self._inside -= 1
                self._change.notify_all()

    @contextmanager
    def alone(self) -> Iterator[None]:
        with self._change:
            self._change.wait_for(lambda: not self._shut)
            self._shut = True
            self._change.wait_for(lambda: self._inside == 0)
        try:
            yield
        finally:
            with self._change:
                self._shut = False
                self._change.notify_all()


def empty(folder: Path) -> None:
    """Remove what a worker left in its folder."""
    for path in folder.iterdir():
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def memory_used(pid: int) -> int | None:
    """Bytes of memory that are this process's own (shared libraries and mapped files not counted), where known."""
    if sys.platform != "linux":
        return None
    try:
        lines = Path(f"/proc/{pid}/status").read_text().split("\n")
    except OSError:
        return None
    return sum(int(line.split()[1]) << 10 for line in lines if line.startswith(("RssAnon:", "RssShmem:")))  # proc(5)


def _read_record(order: work.Order) -> JobRecord | _Failure:
    # Read from its file, never taken over as an object: a worker that a hostile file has taken must not reach us.
    try:
        with (order.out / work.RECORD).open("rb") as stream:
            record = JobRecord.model_validate_json(stream.read(_LONGEST_RECORD))
    except (FileNotFoundError, ValueError) as error:
        return _died(0, str(error).encode())
    expected = (order.job, order.part, list(order.sizes) if order.part > 1 else record.sizes)
    if (record.arrival, record.part, record.sizes) != expected or record.outcome is None:
        return _died(0, b"the record is another job's, or has no outcome")
    return record


def _died(status: int, tail: bytes) -> _Failure:
    how = f"signal {signal.Signals(-status).name}" if -status in set(signal.Signals) else f"exit status {status}"
    return _Failure(
        "worker_died",
        "hotfolder's worker broke down over this file, twice. Something in the file makes a program crash.",
        _AGAIN,
        f"{how}\n{tail.decode('utf-8', 'backslashreplace')}",
    )


def _too_slow(seconds: float) -> _Failure:
    return _Failure(
        "too_slow",
        f"The work on this file was stopped after {seconds:g} seconds, the longest time allowed for one job.",
        "Export the artwork again with fewer parts: flatten effects and merge layers. If the file has to be like this, "
        "ask for a longer time (`seconds` under [limits] in the config).",
    )


def _too_much_memory(memory_mb: int) -> _Failure:
    return _Failure(
        "too_much_memory",
        f"The work on this file was stopped: it needed more than the {memory_mb} MB of memory allowed for one job.",
        "Export the artwork again with smaller pictures (for a poster, 300 ppi at final size is plenty). If the file has "
        "to be like this, ask for more memory (`memory_mb` under [limits] in the config).",
    )


def _too_much_disk(disk_mb: int) -> _Failure:
    return _Failure(
        "too_much_disk",
        f"The work on this file was stopped: it filled more than the {disk_mb} MB of disk space allowed for one job.",
        "Export the artwork again with smaller pictures (for a poster, 300 ppi at final size is plenty). If the file has "
        "to be like this, ask for more space (`disk_mb` under [limits] in the config).",
    )
