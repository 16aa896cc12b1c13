"""Somebody who reads at the broker, and says nothing there."""

import os
import threading
from typing import Final, Self

from etchweb.fleet.box_registry import Box, BoxRegistry
from etchweb.fleet.broker import Broker
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.topics import ROOT

ALL: Final = f"{ROOT}/#"


class Watcher:
    """Keeps the roll of the shop's boxes as the broker tells it; entering connects."""

    def __init__(self, settings: FleetSettings) -> None:
        self._roll = BoxRegistry()
        self._lock = threading.Lock()
        self._broker = Broker(
            settings,
            f"etchwarden-fleet-{os.getpid()}-{os.urandom(3).hex()}",
            when_connected=lambda: self._broker.read(ALL),
            when_told=self._take,
        )

    @property
    def trouble(self) -> str | None:
        """A sentence while the broker tells nothing."""
        return self._broker.trouble

    def boxes(self) -> list[Box]:
        """Return the boxes as they were told last."""
        with self._lock:
            return self._roll.boxes()

    def has_heard(self, timeout_s: float) -> bool:
        """Wait until the broker has told what it had kept."""
        return self._broker.has_read(timeout_s)

    def __enter__(self) -> Self:
        """Begin to read."""
        self._broker.start()
        return self

    def __exit__(self, *_: object) -> None:
        """Leave."""
        self._broker.close()

    def _take(self, topic: str, word: bytes) -> None:
        with self._lock:
            self._roll.take(topic, word)
