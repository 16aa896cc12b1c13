"""One ear at the daemon for all phones: what it last said, and a bell when it says more."""

import logging
import threading
from dataclasses import dataclass
from typing import Final

from etchweb.daemon.protocol import Daemon
from etchwire.calls.machine import Status
from etchwire.errors import DaemonAbsent, WireError
from etchwire.snapshot import Snapshot

_log = logging.getLogger(__name__)

RETRY_AFTER_S: Final = 1.0
NOT_ASKED_YET: Final = "The page has not heard from the box yet."
# Nothing to tell a phone either: after a restart of the page it would call for a box that is gone.
NO_REPORT: Final = 0


@dataclass(frozen=True, slots=True)
class DaemonReport:
    """What the daemon last said: a snapshot, or why there is none.

    `number` grows with everything heard, so that a stream knows what it has not sent yet.
    """

    number: int
    snapshot: Snapshot | None
    sentence: str


class Listener:
    """Keeps what the daemon last said; one thread writes it, every stream reads it."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon
        self._rings = threading.Condition()
        self._heard = DaemonReport(NO_REPORT, None, NOT_ASKED_YET)
        self._ending = threading.Event()

    @property
    def report(self) -> DaemonReport:
        """The latest, whole."""
        return self._heard

    @property
    def is_ending(self) -> bool:
        """Whether the page is being shut down and streams should return."""
        return self._ending.is_set()

    def wait_for_news(self, after: int, timeout_s: float) -> DaemonReport:
        """Return what was heard after `after`, or, when the time is up, what is known."""
        with self._rings:
            self._rings.wait_for(lambda: self._heard.number > after or self.is_ending, timeout_s)
            return self._heard

    def pause(self, timeout_s: float) -> None:
        """Let some time pass, unless the page ends meanwhile."""
        self._ending.wait(timeout_s)

    def start(self) -> None:
        """Listen from now on, in a thread of its own."""
        threading.Thread(target=self._listen, name="listener", daemon=True).start()

    def end(self) -> None:
        """Stop listening and let every waiting stream go."""
        self._ending.set()
        with self._rings:
            self._rings.notify_all()

    def listen_once(self) -> None:
        """Hear the daemon out until it goes away or the page ends."""
        try:
            for snapshot in self._daemon.snapshots():
                if self.is_ending:
                    return
                self._note(snapshot, "")
        except WireError as error:
            self._note(None, str(error))

    def _listen(self) -> None:
        while not self._ending.is_set():
            self.listen_once()
            self._ending.wait(RETRY_AFTER_S)

    def _note(self, snapshot: Snapshot | None, sentence: str) -> None:
        before = self._heard
        if snapshot is None and before.snapshot is None and before.sentence == sentence:
            return
        if (snapshot is None) != (before.snapshot is None):
            _log.info("the daemon %s", "answers" if snapshot is not None else "is away")
        with self._rings:
            self._heard = DaemonReport(before.number + 1, snapshot, sentence)
            self._rings.notify_all()


def ask_status(daemon: Daemon) -> DaemonReport:
    """Ask for a snapshot now; a daemon that is away is an answer, not an error."""
    try:
        return DaemonReport(0, daemon.ask(Status()), "")
    except DaemonAbsent as error:
        return DaemonReport(0, None, str(error))
