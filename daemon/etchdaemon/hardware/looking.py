"""The thread in which the guard looks."""

import threading
import time
from collections.abc import Callable
from typing import Final, Self

from etchdaemon.ports import Doorbell

LOOK_EVERY_S: Final = 0.01  # wall-clock
REST_S: Final = 0.0005


class LookingThread:
    """Calls `look` every ten milliseconds, and at once when the doorbell rings.

    Between two looks it sleeps for half a millisecond whatever happens, so that a contact that
    chatters cannot keep the processor busy.
    """

    def __init__(self, look: Callable[[], None], doorbell: Doorbell) -> None:
        self._look = look
        self._doorbell = doorbell
        self._is_ending = False
        self._thread = threading.Thread(target=self._run, name="guard", daemon=True)

    def __enter__(self) -> Self:
        """Begin to look."""
        self._thread.start()
        return self

    def __exit__(self, *_error: object) -> None:
        """Look no more."""
        self._is_ending = True
        self._doorbell.ring()
        self._thread.join(timeout=1.0)

    def _run(self) -> None:
        while not self._is_ending:
            self._look()
            time.sleep(REST_S)
            self._doorbell.wait(LOOK_EVERY_S - REST_S)
