"""Whether the loop that steers the machine is alive, and the heartbeat that says so outside."""

from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.limits import LOOP_FRESH_S

LONGEST_WAIT_S: Final = 15.0  # the loop for the logbook, at a start and a resume


class LoopHeartbeat:
    """Remembers when the loop was seen alive; `beat` turns the heartbeat over while it is."""

    def __init__(self) -> None:
        self.loop_alive_at_s: WallSeconds | None = None
        self.is_beating = False
        self._is_high = False

    def note_loop_alive(self, now_s: WallSeconds, *, is_waiting: bool) -> None:
        """Note that the loop is alive, or is about to wait for the logbook."""
        self.loop_alive_at_s = WallSeconds(now_s + (LONGEST_WAIT_S if is_waiting else 0.0))

    def watch_anew(self, now_s: WallSeconds) -> None:
        """Count how long the loop was not seen alive from now on."""
        if self.loop_alive_at_s is not None:
            self.loop_alive_at_s = max(self.loop_alive_at_s, now_s)

    def beat(self, now_s: WallSeconds, *, is_withheld: bool) -> bool:
        """Return the heartbeat's level for this look."""
        is_alive = self.loop_alive_at_s is not None and now_s - self.loop_alive_at_s <= LOOP_FRESH_S
        self.is_beating = is_alive and not is_withheld
        if self.is_beating:
            self._is_high = not self._is_high
        return self._is_high
