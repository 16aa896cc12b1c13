"""Runs a program under what a unit forbids its processes: UNIT-FILE PROGRAM ARGUMENTS…

What systemd would load is put together from the unit's own lines and systemd's own sets, and
loaded through libseccomp: SystemCallFilter, MemoryDenyWriteExecute and RestrictAddressFamilies,
the latter two as systemd 252 does it (src/shared/seccomp-util.c). Stricter than there, a call that
is not allowed kills the process, so that none goes unnoticed; only those are refused, as they
would be, that the programs are known to ask for in vain. What lies in the file system and in
devices is not played.
"""

import ctypes
import errno
import mmap
import os
import re
import socket
import subprocess
import sys

KILL_PROCESS = 0x80000000  # seccomp.h
ALLOW = 0x7FFF0000
ERRNO = 0x00050000
EQUAL, GREATER, MASKED = 4, 6, 7
UNKNOWN_CALL = -1
# The daemon asks the kernel whether the clock is synchronised, and takes a refusal for "unknown".
ASKED_IN_VAIN = ("adjtimex", "clock_adjtime")  # which of them depends on the C library
SHM_EXEC = 0o100000  # sys/shm.h
MOST_FAMILIES = 64

library = ctypes.CDLL("libseccomp.so.2", use_errno=True)
library.seccomp_init.restype = ctypes.c_void_p


class Comparison(ctypes.Structure):
    """An argument of a call, and what it is compared with."""

    _fields_ = [
        ("argument", ctypes.c_uint),
        ("how", ctypes.c_int),
        ("mask_or_value", ctypes.c_uint64),
        ("value", ctypes.c_uint64),
    ]


class Filter:
    """A filter to be loaded; what it does not name is dealt with by `otherwise`."""

    def __init__(self, otherwise):
        self.context = ctypes.c_void_p(library.seccomp_init(ctypes.c_uint32(otherwise)))

    def add(self, action, call, *comparisons):
        number = library.seccomp_syscall_resolve_name(call.encode())
        if number == UNKNOWN_CALL:
            return
        array = (Comparison * len(comparisons))(*comparisons)
        failed = library.seccomp_rule_add_array(
            self.context, ctypes.c_uint32(action), number, len(comparisons), array
        )
        if failed:
            sys.exit(f"no rule for {call}: {os.strerror(-failed)}")

    def load(self):
        failed = library.seccomp_load(self.context)
        if failed:
            sys.exit(f"the filter could not be loaded: {os.strerror(-failed)}")


def sets_of_systemd():
    """Return systemd's sets of calls, such as @mount: what stands in each, as printed."""
    printed = subprocess.run(
        ["systemd-analyze", "syscall-filter"], capture_output=True, text=True, check=True
    ).stdout
    sets, name = {}, ""
    for line in printed.splitlines():
        if line.startswith("@"):
            name = line.strip()
            sets[name] = []
        elif name and line.strip() and not line.strip().startswith("#"):
            sets[name].append(line.strip())
    return sets


def calls_in(entry, sets):
    """Return the calls of an entry; a set also has those of the sets in it."""
    if not entry.startswith("@"):
        return {entry}
    return set().union(*(calls_in(inner, sets) for inner in sets[entry]))


def words_of(unit, name):
    """Return the words of a unit's lines, line by line."""
    return [line.split() for line in re.findall(rf"^{name}=(.*)$", unit, re.MULTILINE)]


def only_calls_of(unit):
    """Return a filter that kills at every call that the unit's lines do not allow."""
    allowed, sets = set(), sets_of_systemd()
    for first, *others in words_of(unit, "SystemCallFilter"):
        calls = set().union(*(calls_in(entry, sets) for entry in [first.lstrip("~"), *others]))
        allowed = allowed - calls if first.startswith("~") else allowed | calls
    made = Filter(KILL_PROCESS)
    if os.geteuid() == 0:
        # SQLite gives the files beside a database to its owner, but only when root runs it
        # (robustFchown in os_unix.c); the units' users are not root.
        allowed |= {"fchown"}
    for call in allowed:
        made.add(ALLOW, call)
    if words_of(unit, "SystemCallErrorNumber") == [["EPERM"]]:
        for call in ASKED_IN_VAIN:
            made.add(ERRNO | errno.EPERM, call)
    return made


def no_written_code(unit):
    """Return a filter that refuses memory which is written and then run, if the unit does."""
    made = Filter(ALLOW)
    if words_of(unit, "MemoryDenyWriteExecute") == [["yes"]]:
        refuse = ERRNO | errno.EPERM
        both = mmap.PROT_WRITE | mmap.PROT_EXEC
        made.add(refuse, "mmap", Comparison(2, MASKED, both, both))
        for call in ("mprotect", "pkey_mprotect"):
            made.add(refuse, call, Comparison(2, MASKED, mmap.PROT_EXEC, mmap.PROT_EXEC))
        made.add(refuse, "shmat", Comparison(2, MASKED, SHM_EXEC, SHM_EXEC))
    return made


def only_families_of(unit):
    """Return a filter that refuses sockets of other families than the unit's."""
    (names,) = words_of(unit, "RestrictAddressFamilies")
    allowed = {int(getattr(socket, name)) for name in names}
    made, refuse = Filter(ALLOW), ERRNO | errno.EAFNOSUPPORT
    made.add(refuse, "socket", Comparison(0, GREATER, MOST_FAMILIES))
    for family in set(range(MOST_FAMILIES + 1)) - allowed:
        made.add(refuse, "socket", Comparison(0, EQUAL, family))
    return made


if __name__ == "__main__":
    with open(sys.argv[1]) as file:
        text = file.read()
    # The last one is loaded last: it may not allow the loading of others.
    for made in (no_written_code(text), only_families_of(text), only_calls_of(text)):
        made.load()
    os.execv(sys.argv[2], sys.argv[2:])
