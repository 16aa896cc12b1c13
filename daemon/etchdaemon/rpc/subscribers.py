"""Those who watch: each change goes to all of them, the newest one only, four times a second."""

import logging
import threading
from collections.abc import Callable
from typing import Final

from etchwire.calls.json_values import to_json_value
from etchwire.calls.snapshot import Snapshot
from etchwire.errors import MalformedMessage
from etchwire.transport.framing import encode
from etchwire.transport.handlers import Connection
from etchwire.transport.messages import Request

_log = logging.getLogger(__name__)

LEAST_S: Final = 0.25
MOST_S: Final = 1.0  # so that a watcher can tell a quiet machine from a dead daemon


class Subscribers:
    """Tells watchers of changes, in a thread of its own.

    `pause` waits out the time between two pushes; without a change they come every `most_s`. All
    are wall-clock seconds, whatever the machine's.
    """

    def __init__(
        self,
        snapshot: Callable[[], Snapshot],
        *,
        pause: Callable[[float], object] | None = None,
        most_s: float = MOST_S,
    ) -> None:
        self._snapshot = snapshot
        self._watchers: set[Connection] = set()
        self._lock = threading.Lock()
        self._changed = threading.Event()
        self._stopping = threading.Event()
        self._pause = pause or self._stopping.wait
        self._most_s = most_s
        self._thread = threading.Thread(target=self._run, name="subscribers")

    def start(self) -> None:
        """Tell watchers from now on."""
        self._thread.start()

    def stop(self) -> None:
        """Tell nobody any more."""
        self._stopping.set()
        self._changed.set()
        self._thread.join()

    def add(self, watcher: Connection) -> None:
        """Tell `watcher` of every change from the next on."""
        with self._lock:
            self._watchers.add(watcher)

    def note_change(self) -> None:
        """Have the watchers told soon; returns at once."""
        self._changed.set()

    def _run(self) -> None:
        while not self._stopping.is_set():
            self._changed.wait(self._most_s)
            self._changed.clear()
            self._tell()
            self._pause(LEAST_S)

    def _tell(self) -> None:
        with self._lock:
            self._watchers = {watcher for watcher in self._watchers if not watcher.is_gone}
            watchers = list(self._watchers)
        if not watchers:
            return
        try:
            line = encode(Request("status", to_json_value(self._snapshot())).to_table())
        except MalformedMessage:
            _log.exception("the snapshot cannot be sent")
            return
        for watcher in watchers:
            watcher.push(line)
