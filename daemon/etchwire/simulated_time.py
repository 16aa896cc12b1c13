"""The practice machine's time, shared with the daemon through sixteen bytes of memory.

Simulated time waits for the host, so it runs neither at the host's rate nor at a fixed
multiple of it. The practice machine writes it into a small mapped file and the daemon reads
it as its own clock: both then agree on how long ago anything was.
"""

import mmap
from array import array
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Final, Self

from etchwire.storing import write_whole

_SIZE_BYTES: Final = 16


class SimulatedTime(AbstractContextManager["SimulatedTime"]):
    """Numbers of seconds that one process writes and another reads."""

    def __init__(self, path: Path) -> None:
        """Map `path`, which must exist; see `create`."""
        with path.open("r+b") as file:
            self._memory = mmap.mmap(file.fileno(), _SIZE_BYTES)
        # A view of doubles moves eight aligned bytes in one piece. `struct.pack_into` would
        # first fill them with zeros, and a reader in that moment would find itself at the start.
        self._seconds = memoryview(self._memory).cast("d")

    @classmethod
    def create(cls, path: Path) -> Self:
        """Make a new file at `path`, reading zero, and map it.

        Whoever has mapped the file of a machine that was killed keeps that one: reading from a
        file that has just been emptied would be the end of the reader.
        """
        write_whole(path, array("d", [0.0, 0.0]).tobytes())
        return cls(path)

    @property
    def now_s(self) -> float:
        """The simulated seconds since the practice machine was switched on."""
        return self._seconds[0]

    @now_s.setter
    def now_s(self, value: float) -> None:
        self._seconds[0] = value

    @property
    def wall_ahead_s(self) -> float:
        """How many seconds the practice's wall clock goes before the host's."""
        return self._seconds[1]

    @wall_ahead_s.setter
    def wall_ahead_s(self, value: float) -> None:
        self._seconds[1] = value

    def __exit__(self, *_error: object) -> None:
        """Close the mapping."""
        self.close()

    def close(self) -> None:
        """Let go of the memory."""
        self._seconds.release()
        self._memory.close()
