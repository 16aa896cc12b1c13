"""The system calls left to a process that decodes a stranger's photo: it reads, computes, writes.

Whoever breaks a decoder owns its process. What that process cannot ask of the kernel it cannot do:
open a file, make or use a socket, start a program, make another process, trace or signal one.
The filter is a program of classic BPF that looks at the call's number (seccomp(2)). Threads may be
made, because HEIC is decoded by one; they have the same filter.
"""

import ctypes
import errno
import os
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

# Numbers of x86-64 (arch/x86/entry/syscalls/syscall_64.tbl) and of aarch64
# (include/uapi/asm-generic/unistd.h). None of them takes a path or makes a descriptor.
ALLOWED: Final = MappingProxyType({
    "read": (0, 63), "pread64": (17, 67), "readv": (19, 65), "lseek": (8, 62), "fstat": (5, 80),
    "write": (1, 64), "close": (3, 57),
    "brk": (12, 214), "mmap": (9, 222), "mprotect": (10, 226), "mremap": (25, 216),
    "munmap": (11, 215), "madvise": (28, 233),
    "rt_sigaction": (13, 134), "rt_sigprocmask": (14, 135), "rt_sigreturn": (15, 139),
    "sigaltstack": (131, 132),
    "futex": (202, 98), "sched_yield": (24, 124), "sched_getaffinity": (204, 123),
    "getpid": (39, 172), "gettid": (186, 178),
    "clock_gettime": (228, 113), "clock_nanosleep": (230, 115), "gettimeofday": (96, 169),
    "getrandom": (318, 278), "restart_syscall": (219, 128),
    "exit": (60, 93), "exit_group": (231, 94),
    "set_robust_list": (273, 99), "rseq": (334, 293),  # of a new thread
})  # fmt: skip
_CLONE: Final = (56, 220)
_CLONE3: Final = 435  # the same on both
# What pthread_create(3) of glibc asks for, and nothing else: linux/sched.h, CLONE_VM | FS | FILES
# | SIGHAND | THREAD | SYSVSEM | SETTLS | PARENT_SETTID | CHILD_CLEARTID.
_OF_A_THREAD: Final = 0x3D0F00


@dataclass(frozen=True, slots=True)
class _Architecture:
    """How the kernel names a processor (linux/audit.h), and which column of numbers is its."""

    audit_number: int
    column: int


_ARCHITECTURES: Final[Mapping[str, _Architecture]] = {
    "x86_64": _Architecture(0xC000003E, 0),
    "aarch64": _Architecture(0xC00000B7, 1),
}

# linux/bpf_common.h, linux/seccomp.h
_LOAD, _IF_EQUAL, _RETURN = 0x20, 0x15, 0x06
_NUMBER_AT, _ARCHITECTURE_AT, _FLAGS_AT = 0, 4, 16  # struct seccomp_data; both little-endian
_ALLOW, _KILL = 0x7FFF0000, 0x80000000
_REFUSE, _NOT_THERE = 0x00050000 | errno.EPERM, 0x00050000 | errno.ENOSYS
_NO_NEW_PRIVILEGES, _SET_FILTER, _FILTER_MODE = 38, 22, 2  # linux/prctl.h
_POINTER_BYTES: Final = 8
_LONG_ZEROS: Final = (ctypes.c_ulong(0),) * 3


class NoSystemCallFilter(OSError):
    """Calls cannot be kept from a process here: the message says why."""


class _Program(ctypes.Structure):
    """What the kernel takes: struct sock_fprog."""

    _fields_ = (("length", ctypes.c_ushort), ("instructions", ctypes.c_char_p))


def filter_program(machine: str) -> bytes:
    """Return the instructions that allow ALLOWED on a `machine` as uname(1) names it.

    Everything else is refused with EPERM; a call by another architecture's numbers ends the
    process. Raise NoSystemCallFilter for a machine whose numbers are not known.
    """
    of = _ARCHITECTURES.get(machine)
    if of is None or struct.calcsize("P") != _POINTER_BYTES:
        raise NoSystemCallFilter(
            f"photos are decoded by 64-bit programs on {' and '.join(_ARCHITECTURES)} only, where "
            f"their decoders can be locked in: this is {machine}"
        )
    numbers = [columns[of.column] for columns in ALLOWED.values()]
    instructions = [
        (_LOAD, 0, 0, _ARCHITECTURE_AT),
        (_IF_EQUAL, 1, 0, of.audit_number),
        (_RETURN, 0, 0, _KILL),
        (_LOAD, 0, 0, _NUMBER_AT),
        (_IF_EQUAL, 0, 1, _CLONE3),  # its flags lie where a filter cannot look
        (_RETURN, 0, 0, _NOT_THERE),  # and then glibc takes the older call
        (_IF_EQUAL, 0, 4, _CLONE[of.column]),
        (_LOAD, 0, 0, _FLAGS_AT),
        (_IF_EQUAL, 0, 1, _OF_A_THREAD),
        (_RETURN, 0, 0, _ALLOW),
        (_RETURN, 0, 0, _REFUSE),
        *((_IF_EQUAL, len(numbers) - at, 0, one) for at, one in enumerate(numbers)),
        (_RETURN, 0, 0, _REFUSE),
        (_RETURN, 0, 0, _ALLOW),
    ]
    return b"".join(struct.pack("=HBBI", *one) for one in instructions)


def lock_in() -> None:
    """Leave this process the calls of ALLOWED, for good; raise NoSystemCallFilter if it cannot be.

    It holds for the calling thread, and for those it makes, so there must be no other yet.
    """
    instructions = filter_program(os.uname().machine)
    program = _Program(len(instructions) // 8, instructions)
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    is_done = prctl(_NO_NEW_PRIVILEGES, ctypes.c_ulong(1), *_LONG_ZEROS) == 0 and (
        prctl(_SET_FILTER, ctypes.c_ulong(_FILTER_MODE), ctypes.byref(program)) == 0
    )
    if not is_done:
        reason = os.strerror(ctypes.get_errno())
        raise NoSystemCallFilter(f"the kernel takes no filter of system calls ({reason})")
