"""The thread in which the guard looks."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Final

from etchdaemon.ports import Doorbell

LOOK_EVERY_S: Final = 0.01  # wall-clock
REST_S: Final = 0.0005


@contextmanager
def looking(look: Callable[[], None], doorbell: Doorbell) -> Iterator[None]:
    """Call `look` every ten milliseconds in a thread, and at once when the doorbell rings.

    Between two looks it sleeps for half a millisecond whatever happens, so that a contact that
    chatters cannot keep the processor busy.
    """
    is_ending = threading.Event()

    def run() -> None:
        while not is_ending.is_set():
            look()
            time.sleep(REST_S)
            doorbell.wait(LOOK_EVERY_S - REST_S)

    thread = threading.Thread(target=run, name="guard", daemon=True)
    thread.start()
    try:
        yield
    finally:
        is_ending.set()
        doorbell.ring()
        thread.join(timeout=1.0)
