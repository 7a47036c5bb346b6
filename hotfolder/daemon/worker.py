"""The process that jobs are done in: it loads everything once, and each job gets a copy of it that dies with the job.

A file that crashes the code reading it, or makes it run wild, costs that job alone. Where processes can't be copied
(`once`), each job starts one anew.
"""

from __future__ import annotations

import base64
import contextlib
import ctypes
import faulthandler
import gc
import importlib
import json
import os
import pickle
import select
import signal
import socket
import struct
import sys
import traceback
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, BinaryIO, NoReturn

import pluggy

from hotfolder import work
from hotfolder.daemon import confined
from hotfolder.hookspecs import hookimpl
from hotfolder.job import Job
from hotfolder.loading import load_plugins
from hotfolder.record import StepRecord

#: Loaded before the first job; none of them may start a thread, for a thread does not survive the copying.
HEAVY = ("pikepdf", "pyvips", "pypdfium2", "PIL.Image", "PIL.ImageCms", "numpy", "jinja2", "pypdf", "fontTools.ttLib")
_PR_SET_PDEATHSIG, _PR_SET_CHILD_SUBREAPER = 1, 36  # Linux prctl(2)
TROUBLE = 75  # exit status: not the artwork's fault, try again (EX_TEMPFAIL of sysexits.h)


def main(arguments: Sequence[str]) -> None:
    """`serve FD LOAD` makes a copy of itself for each job; `once LOAD` does the one on standard input."""
    mode, *rest = arguments
    folders, conditions = pickle.loads(base64.b64decode(rest[-1]))  # from the daemon, which made it
    for name in HEAVY:
        with contextlib.suppress(ImportError):  # a step that needs it will say so
            importlib.import_module(name)
    plugins = load_plugins(folders)
    hooks = plugins.manager
    if mode == "serve":
        work.warm_up(plugins.steps.values(), conditions)
    if mode == "serve":
        _serve(socket.socket(fileno=int(rest[0])), hooks)
    else:
        messages = os.fdopen(os.dup(1), "wb", buffering=0)
        os.dup2(2, 1)  # what a plugin prints must not come between the messages
        _do(sys.stdin.buffer, messages.write, hooks)


# ---- one job


def _do(orders: BinaryIO, send: Callable[[bytes], object], hooks: pluggy.PluginManager) -> NoReturn:
    status = 1
    try:
        faulthandler.enable()
        size = struct.unpack("!Q", orders.read(8))[0]
        order, cell = pickle.loads(orders.read(size))  # from the daemon, which made it
        confined.shut_in(cell, order)
        hooks.register(_Speaker(send), "hotfolder-progress")
        work.run_order(order, hooks)
        status = 0
    except OSError as error:
        traceback.print_exc()
        send(_line(trouble=error.errno or 0, words=f"{error.strerror or error}"))
        status = TROUBLE
    except BaseException:  # the edge around one job; what it says is read by the daemon
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)  # nothing of a job's must run on: no threads, no exit handlers


class _Speaker:
    """Tells the daemon of each step as it ends."""

    def __init__(self, send: Callable[[bytes], object]) -> None:
        self._send = send

    @hookimpl
    def step_finished(self, job: Job, record: StepRecord) -> None:
        self._send(_line(step=record.step))


def _line(**fields: Any) -> bytes:
    return json.dumps(fields).encode() + b"\n"


# ---- the process that is copied


def _serve(control: socket.socket, hooks: pluggy.PluginManager) -> None:
    _prctl(_PR_SET_CHILD_SUBREAPER, 1)  # what a job left behind in another session comes to us, to be ended
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the daemon's to answer
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # we end when the daemon's end of the line closes
    wake, waker = socket.socketpair()
    waker.setblocking(False)
    signal.set_wakeup_fd(waker.fileno(), warn_on_full_buffer=False)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    jobs: dict[int, int] = {}  # process -> where its end is reported
    gc.collect()
    gc.freeze()
    control.sendall(b"k")
    while True:
        readable, _, _ = select.select([control, wake], [], [])
        if wake in readable:
            wake.recv(4096)
        _reap(jobs)
        if control in readable:
            data, handles, _, _ = socket.recv_fds(control, 1, 3)
            if not data:
                break
            _start(control, wake, waker, jobs, handles, hooks)
    for process in jobs:
        with contextlib.suppress(ProcessLookupError):
            os.killpg(process, signal.SIGKILL)
    os._exit(0)  # the daemon is gone or waits for this; nothing here needs tidying


def _start(
    control: socket.socket,
    wake: socket.socket,
    waker: socket.socket,
    jobs: dict[int, int],
    handles: list[int],
    hooks: pluggy.PluginManager,
) -> None:
    line, errors, ended = handles
    parent = os.getpid()
    try:
        process = os.fork()
    except OSError:
        process = -1
    if process == 0:
        signal.set_wakeup_fd(-1)
        for number in (signal.SIGCHLD, signal.SIGTERM, signal.SIGINT):
            signal.signal(number, signal.SIG_DFL)
        os.setsid()
        _prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
        if os.getppid() != parent:  # it died before we asked to be told
            os._exit(1)
        for other in (control, wake, waker):
            other.close()
        for handle in (ended, *jobs.values()):
            os.close(handle)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(errors, 1)
        os.dup2(errors, 2)
        os.close(errors)
        with contextlib.suppress(OSError):
            Path("/proc/self/oom_score_adj").write_text("500")  # a job is to die before the daemon does
        connection = socket.socket(fileno=line)
        _do(connection.makefile("rb"), connection.sendall, hooks)
    os.close(line)
    os.close(errors)
    os.write(ended, struct.pack("=i", process))
    if process > 0:
        jobs[process] = ended
    else:
        os.close(ended)


def _reap(jobs: dict[int, int]) -> None:
    while True:
        try:
            found = os.waitid(os.P_ALL, 0, os.WEXITED | os.WNOHANG | os.WNOWAIT)
        except ChildProcessError:
            return
        if found is None:
            break
        process = found.si_pid
        if process in jobs:
            # Not buried yet, so the number is still its own: end what it left running.
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(process, signal.SIGKILL)
        _, status = os.waitpid(process, 0)
        ended = jobs.pop(process, None)
        if ended is not None:
            with contextlib.suppress(BrokenPipeError):
                os.write(ended, struct.pack("=i", os.waitstatus_to_exitcode(status)))
            os.close(ended)
    if not jobs:
        _end_strays()


def _end_strays() -> None:
    """End processes that jobs left behind outside their session. Only while no job is at work."""
    try:
        strays = Path(f"/proc/self/task/{os.getpid()}/children").read_text().split()
    except OSError:
        return
    for stray in strays:
        with contextlib.suppress(ProcessLookupError):
            os.kill(int(stray), signal.SIGKILL)


def _prctl(option: int, value: int) -> None:
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(option, value, 0, 0, 0)


if __name__ == "__main__":
    main(sys.argv[1:])
