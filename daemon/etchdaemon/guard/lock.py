"""The guard's lock, which is never waited for longer than a moment."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from etchdaemon.errors import CommandRefused

LOCK_PATIENCE_S: Final = 0.1  # wall-clock; a guard that holds it longer hangs
HANGS: Final = "The program that watches the interlocks does not answer."


class GuardLock:
    """Held by the looking thread as long as it needs it, by everybody else for a call."""

    def __init__(self) -> None:
        self._lock = threading.Lock()

    @contextmanager
    def looking(self) -> Iterator[None]:
        """Hold it, waiting as long as it takes."""
        with self._lock:
            yield

    @contextmanager
    def held(self) -> Iterator[None]:
        """Hold it, or raise CommandRefused: a hung guard is a refusal."""
        if not self._lock.acquire(timeout=LOCK_PATIENCE_S):
            raise CommandRefused(HANGS)
        try:
            yield
        finally:
            self._lock.release()

    @contextmanager
    def held_if_possible(self) -> Iterator[None]:
        """Hold it if it can be had soon; what must be done is done without it as well."""
        has_lock = self._lock.acquire(timeout=LOCK_PATIENCE_S)
        try:
            yield
        finally:
            if has_lock:
                self._lock.release()
