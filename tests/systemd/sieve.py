"""Runs a program under the system calls that a unit allows: UNIT-FILE PROGRAM ARGUMENTS…

What systemd would load is put together from the unit's own lines and systemd's own sets, and
loaded through libseccomp; a call that is not allowed kills the process, as it does there.
"""

import ctypes
import os
import re
import subprocess
import sys

KILL_PROCESS = 0x80000000  # seccomp.h
ALLOW = 0x7FFF0000
UNKNOWN_CALL = -1


def calls_in(entry):
    """Return the calls of a set such as @mount, with those of the sets in it."""
    if not entry.startswith("@"):
        return {entry}
    printed = subprocess.run(
        ["systemd-analyze", "syscall-filter", entry], capture_output=True, text=True, check=True
    ).stdout
    lines = [line.strip() for line in printed.splitlines()[1:]]
    inside = [line for line in lines if line and not line.startswith("#")]
    return set().union(*map(calls_in, inside))


def allowed_by(unit):
    """Return the calls that the unit's lines allow, taken in their order."""
    allowed = set()
    for line in re.findall(r"^SystemCallFilter=(.*)$", unit, re.MULTILINE):
        calls = set().union(*map(calls_in, line.lstrip("~").split()))
        allowed = allowed - calls if line.startswith("~") else allowed | calls
    return allowed


def load(allowed):
    """Kill this process, from now on, when it makes another call."""
    library = ctypes.CDLL("libseccomp.so.2", use_errno=True)
    library.seccomp_init.restype = ctypes.c_void_p
    context = ctypes.c_void_p(library.seccomp_init(ctypes.c_uint32(KILL_PROCESS)))
    for name in allowed:
        number = library.seccomp_syscall_resolve_name(name.encode())
        if number != UNKNOWN_CALL:
            library.seccomp_rule_add_array(context, ctypes.c_uint32(ALLOW), number, 0, None)
    failed = library.seccomp_load(context)
    if failed:
        sys.exit(f"the filter could not be loaded: {os.strerror(-failed)}")


if __name__ == "__main__":
    with open(sys.argv[1]) as file:
        load(allowed_by(file.read()))
    os.execv(sys.argv[2], sys.argv[2:])
