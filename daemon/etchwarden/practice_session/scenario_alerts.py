"""Whom a scenario's alerts reach: the page's own parts tell them, with no page open."""

from pathlib import Path
from typing import Final

from etchweb.alerts.alerting import AlertService
from etchweb.alerts.outbox import AlertPreferences, Notification, Outbox
from etchweb.daemon.daemon_socket import SocketDaemon
from etchweb.daemon.listener import Listener
from etchwire.alert_policy import Alert

_HELD_LONG_S: Final = 600.0


class ScenarioAlerts:
    """Takes every letter, as a channel; `sent_texts` is what stood in them.

    It has threads: no process of the session may be started while it listens.
    """

    def __init__(self, socket: Path, folder: Path) -> None:
        """Listen to the daemon at `socket` from now on; the outbox lies in `folder`."""
        folder.mkdir(parents=True)
        self.sent_texts: list[str] = []
        preferences = AlertPreferences(
            channels=("people",), kinds=frozenset(Alert), held_long_s=_HELD_LONG_S
        )
        alerting = AlertService(Outbox(folder, preferences), {"people": self})
        self._listener = Listener(SocketDaemon(socket))
        alerting.follow("practice", self._listener)
        alerting.start(self._listener)
        self._listener.start()

    def send(self, letter: Notification) -> None:
        """Take a letter."""
        self.sent_texts.append(f"{letter.title}. {letter.text}")

    def close(self) -> None:
        """Listen no more."""
        self._listener.end()
