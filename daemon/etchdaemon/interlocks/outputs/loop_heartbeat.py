"""Whether the serial loop is alive, and the heartbeat output that shows it to the box."""

from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.limits import LOOP_FRESH_S

LONGEST_WAIT_S: Final = 15.0  # of the loop for the logbook, at a start and a resume


class LoopHeartbeat:
    """Keeps the loop's last sign of life; `beat` toggles the output while that is recent."""

    def __init__(self) -> None:
        self.loop_alive_at_s: WallSeconds | None = None
        self.is_beating = False
        self._is_high = False

    def note_loop_alive(self, now_s: WallSeconds, *, is_waiting: bool) -> None:
        """Note a sign of life; `is_waiting`: the loop is about to wait for the logbook."""
        self.loop_alive_at_s = WallSeconds(now_s + (LONGEST_WAIT_S if is_waiting else 0.0))

    def watch_anew(self, now_s: WallSeconds) -> None:
        """Count the time without a sign of life from now on."""
        if self.loop_alive_at_s is not None:
            self.loop_alive_at_s = max(self.loop_alive_at_s, now_s)

    def beat(self, now_s: WallSeconds, *, is_withheld: bool) -> bool:
        """Return the output's level for this look."""
        is_alive = self.loop_alive_at_s is not None and now_s - self.loop_alive_at_s <= LOOP_FRESH_S
        self.is_beating = is_alive and not is_withheld
        if self.is_beating:
            self._is_high = not self._is_high
        return self._is_high
