"""What the page asks of the daemon."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Protocol


class Daemon(Protocol):
    """The daemon as the page sees it; used by many threads at once."""

    def ask(self, method: str, **params: Any) -> Any:
        """Return the result of a method; raise DaemonAbsent, or Refused when the answer is no."""
        ...

    def load(self, gcode: Path, sheet: Path) -> Any:
        """Hand over the job in these two files; raise DaemonAbsent or Refused."""
        ...

    def snapshots(self) -> Iterator[Mapping[str, Any]]:
        """Yield the snapshot now and as it changes, and at least once a second.

        Ends by raising DaemonAbsent. That it never waits longer lets a listener be told to stop.
        """
        ...
