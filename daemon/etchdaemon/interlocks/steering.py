"""Whether the loop that steers the machine is alive, and the heartbeat that says so outside."""

from typing import Final

FRESH_S: Final = 0.08  # so that the heartbeat stops within 100 ms of a blocked loop
LONGEST_WAIT_S: Final = 15.0  # the loop for the logbook, at a start and a resume


class Steering:
    """Remembers when the loop was seen alive; `beat` turns the heartbeat over while it is."""

    def __init__(self, *, time_factor: float) -> None:
        self.seen_at_s: float | None = None
        self._time_factor = time_factor
        self._is_high = False

    def note(self, now_s: float, *, is_waiting: bool) -> None:
        """Note that the loop is alive, or is about to wait for the logbook."""
        self.seen_at_s = now_s + (LONGEST_WAIT_S * self._time_factor if is_waiting else 0.0)

    def beat(self, now_s: float, *, is_withheld: bool) -> bool:
        """Return the heartbeat's level for this look."""
        fresh_s = FRESH_S * self._time_factor
        is_alive = self.seen_at_s is not None and now_s - self.seen_at_s <= fresh_s
        if is_alive and not is_withheld:
            self._is_high = not self._is_high
        return self._is_high
