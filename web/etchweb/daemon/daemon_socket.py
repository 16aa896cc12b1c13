"""The daemon at its socket, as the page sees it."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from etchwire.client import DaemonClient


class SocketDaemon:
    """Opens a connection for every question: none waits behind another, and a stop least of all."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def ask(self, method: str, **params: Any) -> Any:
        """Return the result of a method; raise DaemonAbsent, or Refused when the answer is no."""
        with DaemonClient(self._path) as client:
            return client.call(method, **params)

    def load(self, gcode: Path, sheet: Path) -> Any:
        """Hand over the job in these two files; raise DaemonAbsent or Refused."""
        with (
            gcode.open("rb") as gcode_file,
            sheet.open("rb") as sheet_file,
            DaemonClient(self._path) as client,
        ):
            return client.load(gcode_file.fileno(), sheet_file.fileno())

    def snapshots(self) -> Iterator[Mapping[str, Any]]:
        """Yield snapshots for as long as the daemon says something every second."""
        with DaemonClient(self._path) as client:
            yield from client.subscribe()
