"""The guard's lock, for which the loop waits a tenth of a second at most (see `Setup`)."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from etchdaemon.errors import CommandRefused

HANGS: Final = "The program that watches the interlocks does not answer."


class GuardLock:
    """Held by the looking thread for a look, by every other thread for one call.

    A guard that holds it for longer than `timeout_s` of the wall's time hangs.
    """

    def __init__(self, timeout_s: float) -> None:
        self._timeout_s = timeout_s
        self._lock = threading.Lock()

    @contextmanager
    def looking(self) -> Iterator[None]:
        """Hold it, however long that has to wait."""
        with self._lock:
            yield

    @contextmanager
    def held(self) -> Iterator[None]:
        """Hold it; raise CommandRefused where the guard hangs."""
        if not self._lock.acquire(timeout=self._timeout_s):
            raise CommandRefused(HANGS)
        try:
            yield
        finally:
            self._lock.release()

    @contextmanager
    def held_if_possible(self) -> Iterator[None]:
        """Hold it if it can be had; what must be done is done without it too."""
        has_lock = self._lock.acquire(timeout=self._timeout_s)
        try:
            yield
        finally:
            if has_lock:
                self._lock.release()
