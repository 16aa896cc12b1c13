"""The limits a child process sets itself first, so that its work costs no etch and no page."""

import ctypes
import os
import resource
import signal
from contextlib import suppress
from typing import Final

_NICE: Final = 10  # whatever the daemon's or the page's is
_BYTES_PER_MB: Final = 1024 * 1024
_OOM_SCORE: Final = "/proc/self/oom_score_adj"
# The daemon's unit has -800 and the page's 500 (proc_pid_oom_score_adj(5)): work that can be done
# again goes first. Raising needs no privilege.
EXPENDABLE: Final = 800
_PR_SET_PDEATHSIG: Final = 1  # linux/prctl.h
_c_library = ctypes.CDLL(None)  # loaded here: what runs between fork and exec must not


def limit_child(*, memory_mb: int, processor_s: int) -> None:
    """Limit this process's memory and processor time; lower its priority. Call before numpy loads.

    Memory is what it may write to by itself (RLIMIT_DATA): numpy and OpenCV reserve far more
    addresses than they use. Past it an allocation fails; past `processor_s` the kernel ends the
    process with SIGXCPU, whoever started it still being there or not.
    """
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # each of its threads would have memory of its own
    os.setpriority(os.PRIO_PROCESS, 0, max(_NICE, os.getpriority(os.PRIO_PROCESS, 0)))
    limit_memory(memory_mb * _BYTES_PER_MB)
    limit_processor(processor_s)
    be_expendable(EXPENDABLE)


def limit_memory(most_bytes: int) -> None:
    """Let allocations fail beyond this; a limit that is lower already stays."""
    _lower(resource.RLIMIT_DATA, most_bytes)


def limit_processor(most_s: int) -> None:
    """Have the kernel end this process (SIGXCPU) once it has computed for so long."""
    _lower(resource.RLIMIT_CPU, most_s)


def be_expendable(score: int) -> None:
    """Have the kernel end this process before others once memory runs out; 1000 is the most."""
    with suppress(OSError, ValueError):  # no /proc: then its own judgement has to do
        descriptor = os.open(_OOM_SCORE, os.O_RDWR)  # the kernel's; nothing is put on a disk
        try:
            if int(os.read(descriptor, 16)) < score:
                os.write(descriptor, str(score).encode())
        finally:
            os.close(descriptor)


def die_with_parent(parent: int, number: signal.Signals = signal.SIGKILL) -> None:
    """Have the kernel send this process a signal once its parent dies; end if it has died already.

    It is sent when the parent's *thread* ends that started this process (prctl(2)).
    """
    _c_library.prctl(_PR_SET_PDEATHSIG, number)
    if os.getppid() != parent:  # it was quicker
        os._exit(1)


def _lower(kind: int, most: int) -> None:
    _, hard = resource.getrlimit(kind)
    limit = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(kind, (limit, hard))
