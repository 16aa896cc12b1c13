"""What the page asks of the daemon."""

from collections.abc import Iterator
from pathlib import Path
from typing import Protocol, TypeVar

from etchwire.calls.call import Call
from etchwire.calls.machine import LoadedJob
from etchwire.calls.snapshot import Snapshot

Answer = TypeVar("Answer")


class Daemon(Protocol):
    """The daemon as the page sees it; used by many threads at once."""

    def ask(self, call: Call[Answer]) -> Answer:
        """Return the answer to `call`; raise DaemonAbsent, or Refused when the answer is no."""
        ...

    def load(self, gcode: Path, sheet: Path) -> LoadedJob:
        """Hand over the job in these two files; raise DaemonAbsent or Refused."""
        ...

    def snapshots(self) -> Iterator[Snapshot]:
        """Yield the snapshot now and as it changes, and at least once a second.

        Ends by raising DaemonAbsent. That it never waits longer lets a listener be told to stop.
        """
        ...
