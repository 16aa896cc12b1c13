"""The service manager's watchdog: fed by what the loop and the guard get done, never by a timer."""

from collections.abc import Callable
from typing import Final

from etchwire.notification import notify

FEED_EVERY_S: Final = 1.0


class Watchdog:
    """Told at every turn of the loop how often the guard has looked: one that hangs starves it."""

    def __init__(self, say: Callable[[str], None] = notify) -> None:
        self._say = say
        self._fed_at_s = 0.0
        self._looks = 0

    def feed(self, now_s: float, *, looks: int) -> None:
        """Feed it once a second, if the guard has looked since."""
        if now_s - self._fed_at_s < FEED_EVERY_S or looks == self._looks:
            return
        self._fed_at_s, self._looks = now_s, looks
        self._say("WATCHDOG=1")
