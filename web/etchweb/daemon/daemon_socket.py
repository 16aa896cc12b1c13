"""The daemon at its socket, as the page sees it."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, TypeVar

from etchwire.calls.call import Call
from etchwire.calls.client import DaemonClient
from etchwire.calls.machine import Load, LoadedJob
from etchwire.calls.snapshot import Snapshot
from etchwire.errors import DaemonAbsent

Answer = TypeVar("Answer")

NOT_RUNNING: Final = "The box’s control program is not running, or does not answer."

_log = logging.getLogger(__name__)


class SocketDaemon:
    """Opens a connection for every question: none waits behind another, and a stop least of all."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def ask(self, call: Call[Answer]) -> Answer:
        """Return the answer to `call`; raise DaemonAbsent, or Refused when the answer is no."""
        with _in_plain_words(), DaemonClient(self._path) as client:
            return client.ask(call)

    def load(self, gcode: Path, sheet: Path) -> LoadedJob:
        """Hand over the job in these two files; raise DaemonAbsent or Refused."""
        with gcode.open("rb") as gcode_file, sheet.open("rb") as sheet_file:
            return self.ask(Load(gcode_fd=gcode_file.fileno(), sheet_fd=sheet_file.fileno()))

    def snapshots(self) -> Iterator[Snapshot]:
        """Yield snapshots for as long as the daemon says something every second."""
        with _in_plain_words(), DaemonClient(self._path) as client:
            yield from client.watch()


@contextmanager
def _in_plain_words() -> Iterator[None]:
    """Say of a daemon that is away what helps a person; where its socket lies goes to the log."""
    try:
        yield
    except DaemonAbsent as error:
        _log.debug("%s", error)  # asked every two seconds by each phone
        raise DaemonAbsent(NOT_RUNNING) from error
