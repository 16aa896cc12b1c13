"""The service manager's watchdog over the page, fed by what its server gets done."""

import threading
from collections.abc import Callable
from functools import partial
from typing import Any, Final

from etchwire.notification import notify

PROBE_EVERY_S: Final = 1.0


def _notify_patiently(word: str) -> None:
    """Say `word`; it is said in a thread of its own, which harms nobody by waiting."""
    notify(word, patience_s=PROBE_EVERY_S)


class ProbeTask:
    """A task that asks for nothing: whichever thread of the server takes it shows that it lives."""

    def __init__(self) -> None:
        self._is_over = threading.Event()

    def service(self) -> None:
        """Be done, in one of the server's threads."""
        self._is_over.set()

    def cancel(self) -> None:
        """Be done: the server ends."""
        self._is_over.set()

    def wait(self) -> None:
        """Wait until it is done, for ever if need be: then the service manager ends the page."""
        self._is_over.wait()


def feed_watchdog(
    server: Any,
    ended: threading.Event,
    say: Callable[[str], None] = _notify_patiently,
    *,
    every_s: float = PROBE_EVERY_S,
) -> None:
    """Send rounds through a waitress `server`, and tell the service manager of each that came back.

    The server's loop, which accepts and reads, has to hand each round to its threads, which
    answer. The first to come back says that the page is ready. Returns once `ended` is set.
    """
    word = "READY=1"
    while not ended.is_set():
        one = ProbeTask()
        server.trigger.pull_trigger(partial(server.add_task, one))
        one.wait()
        say(word)
        word = "WATCHDOG=1"
        ended.wait(every_s)
