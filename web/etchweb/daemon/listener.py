"""The daemon's latest snapshot, received once for all phones, with a signal for each new one."""

import logging
import threading
from dataclasses import dataclass
from typing import Final

from etchweb.daemon.protocol import Daemon
from etchwire.calls.machine import Status
from etchwire.calls.snapshot import Snapshot
from etchwire.errors import DaemonAbsent, WireError

_log = logging.getLogger(__name__)

RETRY_AFTER_S: Final = 1.0
NOT_ASKED_YET: Final = "The page has not heard from the box yet."
# Not reported to phones: after a restart of the page they would call for a box that is gone.
NO_REPORT: Final = 0


@dataclass(frozen=True, slots=True)
class DaemonReport:
    """What the daemon reported last: a snapshot, or a sentence why there is none.

    `number` grows with each report, so that a stream knows what it has not sent yet.
    """

    number: int
    snapshot: Snapshot | None
    sentence: str


class Listener:
    """Keeps the latest report; one thread writes it, every stream reads it."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._changed = threading.Condition()
        self._report = DaemonReport(NO_REPORT, None, NOT_ASKED_YET)
        self._ending = threading.Event()

    @property
    def report(self) -> DaemonReport:
        """The latest, whole."""
        return self._report

    @property
    def is_ending(self) -> bool:
        """Whether the page is being shut down and streams should return."""
        return self._ending.is_set()

    def wait_for_news(self, after: int, timeout_s: float) -> DaemonReport:
        """Return the first report after number `after`, or after `timeout_s` the latest."""
        with self._changed:
            self._changed.wait_for(lambda: self._report.number > after or self.is_ending, timeout_s)
            return self._report

    def pause(self, timeout_s: float) -> None:
        """Wait for `timeout_s`, or until the page ends."""
        self._ending.wait(timeout_s)

    def start(self) -> None:
        """Listen from now on, in a thread of its own."""
        threading.Thread(target=self._listen, name="listener", daemon=True).start()

    def end(self) -> None:
        """Stop listening and let every waiting stream go."""
        self._ending.set()
        with self._changed:
            self._changed.notify_all()

    def listen_once(self) -> None:
        """Receive snapshots until the daemon goes away or the page ends."""
        try:
            for snapshot in self._daemon.snapshots():
                if self.is_ending:
                    return
                self._store(snapshot, "")
        except WireError as error:
            self._store(None, str(error))

    def _listen(self) -> None:
        while not self._ending.is_set():
            self.listen_once()
            self._ending.wait(RETRY_AFTER_S)

    def _store(self, snapshot: Snapshot | None, sentence: str) -> None:
        before = self._report
        if snapshot is None and before.snapshot is None and before.sentence == sentence:
            return
        if (snapshot is None) != (before.snapshot is None):
            _log.info("the daemon %s", "answers" if snapshot is not None else "is away")
        with self._changed:
            self._report = DaemonReport(before.number + 1, snapshot, sentence)
            self._changed.notify_all()


def ask_status(daemon: Daemon) -> DaemonReport:
    """Ask for a snapshot now; where the daemon is away, the report says why."""
    try:
        return DaemonReport(0, daemon.ask(Status()), "")
    except DaemonAbsent as error:
        return DaemonReport(0, None, str(error))
