"""Takes from a job's process what no artwork needs: the network, other programs, and the corners of the system.

A filter of Linux' seccomp (Documentation/userspace-api/seccomp_filter.rst), put together here: a list of calls that are
refused, all others stay. A refused call fails as if the user had no right to it. Numbers: linux' asm/unistd_64.h and
asm-generic/unistd.h.
"""

from __future__ import annotations

import ctypes
import errno
import platform
import struct
import sys

_NO_NEW_PRIVS, _SET_SECCOMP, _GET_SECCOMP, _FILTER = 38, 22, 21, 2  # prctl(2)
_LOAD, _EQUAL, _AT_LEAST, _ANY_BIT, _RETURN = 0x20, 0x15, 0x35, 0x45, 0x06  # linux/bpf_common.h
_NUMBER, _MACHINE, _FIRST, _THIRD = 0, 4, 16, 32  # where they stand in struct seccomp_data, little end first
_ALLOW, _FAIL, _KILL = 0x7FFF0000, 0x00050000, 0x80000000
_THREAD = 0x00010000  # CLONE_THREAD of linux/sched.h
_OTHER_NUMBERS = 0x40000000  # the same calls under other numbers, on x86-64


#: Each call with its number on x86-64 and on 64-bit ARM; "-" where it has none.
REFUSED = """
socket 41 198, ptrace 101 117, process_vm_readv 310 270, process_vm_writev 311 271, pidfd_getfd 438 438, kcmp 312 272,
setpriority 141 140, sched_setparam 142 118, sched_setscheduler 144 119, sched_setattr 314 274, ioprio_set 251 30,
mount 165 40, umount2 166 39, pivot_root 155 41, chroot 161 51, unshare 272 97, setns 308 268, open_tree 428 428,
move_mount 429 429, fsopen 430 430, fsconfig 431 431, fsmount 432 432, fspick 433 433, mount_setattr 442 442,
open_by_handle_at 304 265, swapon 167 224, swapoff 168 225, quotactl 179 60, acct 163 89, reboot 169 142,
settimeofday 164 170, clock_settime 227 112, clock_adjtime 305 266, adjtimex 159 171, sethostname 170 161,
setdomainname 171 162, iopl 172 -, ioperm 173 -, init_module 175 105, finit_module 313 273, delete_module 176 106,
kexec_load 246 104, kexec_file_load 320 294, syslog 103 116, bpf 321 280, perf_event_open 298 241, userfaultfd 323 282,
add_key 248 217, request_key 249 218, keyctl 250 219
"""
#: As if the kernel had none, so that libraries do it in another way. io_uring opens sockets too; clone3 can't be looked
#: into; what memfd_ gives is memory that counts as nobody's.
ABSENT = "io_uring_setup 425 425, clone3 435 435, memfd_create 319 279, memfd_secret 447 447"
#: Said to be done, but without effect: a file's rights, owner and dates, which Landlock does not guard.
IDLE = """
chmod 90 -, fchmod 91 52, fchmodat 268 53, fchmodat2 452 452, chown 92 -, fchown 93 55, lchown 94 -, fchownat 260 54,
utime 132 -, utimes 235 -, futimesat 261 -, setxattr 188 5, lsetxattr 189 6, fsetxattr 190 7,
setxattrat 463 463, removexattr 197 14, lremovexattr 198 15, fremovexattr 199 16, removexattrat 466 466
"""
PROGRAMS = "fork 57 -, vfork 58 -, execve 59 221, execveat 322 281"
#: By an argument: a new process is refused, not a thread; another process's limits, not one's own; a date set to now,
#: which is how a file is brought into being, and other dates are without effect.
BY_ARGUMENT = "clone 56 220, prlimit64 302 261, utimensat 280 88"
_MACHINES = {"x86_64": (0, 0xC000003E), "aarch64": (1, 0xC00000B7)}  # which column; linux/audit.h


def numbers(calls: str, machine: str) -> dict[str, int]:
    """The calls of a list above by name, on this kind of processor."""
    column = _MACHINES[machine][0]
    words = [call.split() for call in calls.split(",")]
    return {name: int(columns[column]) for name, *columns in words if columns[column] != "-"}


def available() -> bool:
    """Whether this system can refuse calls, and we know the numbers of its calls."""
    known = sys.platform == "linux" and platform.machine() in _MACHINES and sys.maxsize > 1 << 32
    return known and int(ctypes.CDLL(None).prctl(_GET_SECCOMP, 0, 0, 0, 0)) >= 0


def no_new_rights() -> None:
    """Nothing started from here has more rights than we have. Both ways of shutting in ask for it."""
    _prctl(_NO_NEW_PRIVS, 1, 0)


def refuse(*, programs: bool) -> None:
    """From now on the calls are refused, in this thread and in those it starts. OSError where the kernel won't have it."""
    code = b"".join(_filter(platform.machine(), programs=programs))
    kept = ctypes.create_string_buffer(code, len(code))
    _prctl(_SET_SECCOMP, _FILTER, ctypes.byref(_Program(len(code) // 8, ctypes.addressof(kept))))


class _Program(ctypes.Structure):
    _fields_ = (("length", ctypes.c_ushort), ("code", ctypes.c_void_p))


def _filter(machine: str, *, programs: bool) -> list[bytes]:
    lines = [
        _line(_LOAD, _MACHINE),
        _line(_EQUAL, _MACHINES[machine][1], 1, 0),
        _line(_RETURN, _KILL),  # calls of another processor's kind
        _line(_LOAD, _NUMBER),
        _line(_AT_LEAST, _OTHER_NUMBERS, 0, 1),
        _line(_RETURN, _FAIL | errno.ENOSYS),
    ]
    looked_into = numbers(BY_ARGUMENT, machine)
    lines += _by(looked_into["prlimit64"], _FIRST, _EQUAL, 0, then=_ALLOW, otherwise=_FAIL | errno.EPERM)
    lines += _by(looked_into["utimensat"], _THIRD, _EQUAL, 0, then=_FAIL | errno.EPERM, otherwise=_FAIL)
    if not programs:
        lines += _by(looked_into["clone"], _FIRST, _ANY_BIT, _THREAD, then=_ALLOW, otherwise=_FAIL | errno.EPERM)
    for calls, error in ((REFUSED, errno.EPERM), (ABSENT, errno.ENOSYS), (IDLE, 0), (PROGRAMS, errno.EPERM)):
        if calls is PROGRAMS and programs:
            continue
        for number in numbers(calls, machine).values():
            lines += [_line(_EQUAL, number, 0, 1), _line(_RETURN, _FAIL | error)]
    return [*lines, _line(_RETURN, _ALLOW)]


def _by(number: int, argument: int, test: int, value: int, *, then: int, otherwise: int) -> list[bytes]:
    """What becomes of a call, by one of its arguments."""
    return [
        _line(_EQUAL, number, 0, 4),
        _line(_LOAD, argument),
        _line(test, value, 0, 1),
        _line(_RETURN, then),
        _line(_RETURN, otherwise),
    ]


def _line(code: int, value: int, then: int = 0, otherwise: int = 0) -> bytes:
    return struct.pack("=HBBI", code, then, otherwise, value)


def _prctl(option: int, value: int, more: object) -> None:
    libc = ctypes.CDLL(None, use_errno=True)
    if libc.prctl(option, ctypes.c_ulong(value), more, 0, 0) != 0:
        raise OSError(ctypes.get_errno(), "the job's process could not be shut in")
