"""The practice machine's time, shared with the daemon through eight bytes of memory.

Simulated time waits for the host, so it runs neither at the host's rate nor at a fixed
multiple of it. The practice machine writes it into a small mapped file and the daemon reads
it as its own clock: both then agree on how long ago anything was.
"""

import mmap
import struct
from pathlib import Path
from types import TracebackType
from typing import Final, Self

_LAYOUT: Final = struct.Struct("<d")  # eight aligned bytes: written and read in one piece


class SimulatedTime:
    """A number of seconds that one process writes and another reads."""

    def __init__(self, path: Path) -> None:
        """Map `path`, which must exist; see `create`."""
        with path.open("r+b") as file:
            self._memory = mmap.mmap(file.fileno(), _LAYOUT.size)

    @classmethod
    def create(cls, path: Path) -> Self:
        """Make the file at `path`, reading zero, and map it."""
        path.write_bytes(_LAYOUT.pack(0.0))
        return cls(path)

    @property
    def now_s(self) -> float:
        """The simulated seconds since the practice machine was switched on."""
        (now_s,) = _LAYOUT.unpack_from(self._memory)
        return float(now_s)

    @now_s.setter
    def now_s(self, value: float) -> None:
        _LAYOUT.pack_into(self._memory, 0, value)

    def __enter__(self) -> Self:
        """Return the clock; leaving closes the mapping."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the mapping."""
        self._memory.close()
