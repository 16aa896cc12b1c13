"""Whether the wall clock can be believed: a board without a battery starts in the past.

Two things know: systemd's time service leaves a file when it has set the clock, and the kernel
counts how far off the clock may be (adjtimex(2)). A unit with ProtectClock may not ask the
kernel; then a clock that somebody else keeps right counts as unknown.
"""

import ctypes
from collections.abc import Callable
from pathlib import Path
from typing import Final

SYNCHRONISED: Final = Path("/run/systemd/timesync/synchronized")
TIME_ERROR: Final = 5  # what adjtimex returns while the clock is not synchronised


class _Timex(ctypes.Structure):
    """The kernel's `struct timex`; with `modes` 0 nothing is set. The rest is only room."""

    _fields_ = (("modes", ctypes.c_uint), ("rest", ctypes.c_byte * 512))


def is_clock_synchronised(
    *, mark: Path = SYNCHRONISED, kernel_state: "Callable[[], int] | None" = None
) -> bool | None:
    """Return whether the clock is synchronised, or None where nobody says."""
    if mark.exists():
        return True
    state = (kernel_state or _kernel_state)()
    return None if state < 0 else state != TIME_ERROR


def _kernel_state() -> int:
    """Return the clock's state, or -1 where it may not be asked."""
    try:
        adjtimex = ctypes.CDLL(None, use_errno=True).adjtimex
    except (OSError, AttributeError):
        return -1
    return int(adjtimex(ctypes.byref(_Timex())))
