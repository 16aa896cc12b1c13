"""Two clocks: the system's, and the practice machine's."""

import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from etchdaemon.interlocks.clocks import MachineSeconds, WallSeconds
from etchwire.simulated_time import SimulatedTime

STANDSTILL_S: Final = 2.0


def _utc_now(*, ahead_s: float = 0.0) -> str:
    now = datetime.now(UTC) + timedelta(seconds=ahead_s)
    return now.isoformat(timespec="seconds").replace("+00:00", "Z")


class SystemClock:
    """Monotonic seconds and wall-clock time."""

    seconds_per_wall_second: Final = 1.0

    def now_s(self) -> MachineSeconds:
        """Return monotonic seconds."""
        return MachineSeconds(time.monotonic())

    def wall_s(self) -> WallSeconds:
        """Return the same seconds: there is one time here."""
        return WallSeconds(time.monotonic())

    def utc_now(self) -> str:
        """Return the wall clock's time."""
        return _utc_now()


class PracticeClock:
    """The practice machine's simulated seconds.

    Simulated time waits for the host. Where it has stood still for two wall-clock seconds
    it goes on by the wall clock, so that a dead practice machine does not stop the daemon's
    patience; what was added stays added. Then, too, a machine is looked for that stands where the
    dead one stood and counts from nought again.
    """

    def __init__(
        self,
        path: Path,
        *,
        seconds_per_wall_second: float,
        wall: Callable[[], float] = time.monotonic,
    ) -> None:
        self.seconds_per_wall_second = seconds_per_wall_second
        self._wall = wall
        self._path = path
        self._inode = path.stat().st_ino
        self._simulated = SimulatedTime(path)
        self._seen_s = self._simulated.now_s
        self._seen_at_s = wall()
        self._added_s = 0.0
        self._lock = threading.Lock()

    def wall_s(self) -> WallSeconds:
        """Return the host's monotonic seconds."""
        return WallSeconds(self._wall())

    def now_s(self) -> MachineSeconds:
        """Return simulated seconds, and what was added to them."""
        with self._lock:
            simulated_s, wall_s = self._simulated.now_s, self._wall()
            if simulated_s != self._seen_s:
                self._seen_s, self._seen_at_s = simulated_s, wall_s
            elif wall_s - self._seen_at_s > STANDSTILL_S:
                overdue_s = wall_s - self._seen_at_s - STANDSTILL_S
                self._added_s += overdue_s
                self._seen_at_s += overdue_s
                simulated_s = self._of_another_machine(simulated_s)
            return MachineSeconds(simulated_s + self._added_s)

    def _of_another_machine(self, simulated_s: float) -> float:
        """Read another machine's time from now on, if there is one; return what to count from."""
        try:
            inode = self._path.stat().st_ino
            if inode == self._inode:
                return simulated_s
            other = SimulatedTime(self._path)
        except OSError:
            return simulated_s
        self._simulated.close()
        self._simulated, self._inode = other, inode
        self._seen_s = other.now_s
        self._added_s += simulated_s - self._seen_s
        return self._seen_s

    def utc_now(self) -> str:
        """Return the wall clock's time, which a person may have turned.

        The practice etch happens now, only faster.
        """
        with self._lock:
            return _utc_now(ahead_s=self._simulated.wall_ahead_s)
