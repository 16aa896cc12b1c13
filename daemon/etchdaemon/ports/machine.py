"""What the daemon needs of the machine and of time."""

from collections.abc import Callable
from typing import Protocol

from etchdaemon.interlocks.clocks import MachineSeconds, WallSeconds


class Clock(Protocol):
    """Monotonic time and wall-clock time."""

    def now_s(self) -> MachineSeconds:
        """Return the machine's monotonic seconds (simulated ones on the practice machine)."""
        ...

    def wall_s(self) -> WallSeconds:
        """Return the monotonic seconds in which contacts are read and people act."""
        ...

    def utc_now(self) -> str:
        """Return the wall clock's time as ISO 8601 in UTC, to the second."""
        ...

    @property
    def seconds_per_wall_second(self) -> float:
        """How much faster than the wall the machine's time is meant to run; 1 on a real one."""
        ...


class BytePort(Protocol):
    """A serial line to the controller."""

    def read_waiting(self) -> bytes:
        """Return the bytes that have arrived, possibly none, without waiting; raise PortLost."""
        ...

    def write(self, data: bytes) -> None:
        """Hand over every byte of `data`; raise PortLost."""
        ...

    def discard_output(self) -> None:
        """Throw away what was written and has not left yet; raise PortLost."""
        ...

    def close(self) -> None:
        """Let go of the port; never raises."""
        ...


# Opens the configured port for ourselves alone; raises PortLost, with a sentence.
PortOpener = Callable[[], BytePort]


class Doorbell(Protocol):
    """Wakes the loop early when a command arrives."""

    def ring(self) -> None:
        """Wake the loop; harmless when nobody waits. Any thread, and a signal handler, may."""
        ...

    def wait(self, timeout_s: float) -> None:
        """Return when somebody rings, or after `timeout_s` wall-clock seconds."""
        ...
