"""Wakes a waiting thread: an event counter of the kernel's."""

import os
import select
from contextlib import suppress

_ONE = (1).to_bytes(8, "little")


class EventDoorbell:
    """A Doorbell on an eventfd: waiting on it costs less than waiting on a condition."""

    def __init__(self) -> None:
        self._descriptor = os.eventfd(0, os.EFD_NONBLOCK | os.EFD_CLOEXEC)

    def ring(self) -> None:
        """Wake the waiting thread, or the next one that waits."""
        with suppress(BlockingIOError):  # it has rung more often than anybody can count
            os.write(self._descriptor, _ONE)

    def wait(self, timeout_s: float) -> None:
        """Return at the next ring, or after `timeout_s`."""
        # select, because poll waits whole milliseconds: too coarse for fast practice.
        if select.select((self._descriptor,), (), (), timeout_s)[0]:
            with suppress(BlockingIOError):
                os.read(self._descriptor, 8)

    def close(self) -> None:
        """Let go of the descriptor."""
        os.close(self._descriptor)
