"""One machine's reporter: it watches the daemon as a phone does, and tells the shop's broker.

It subscribes to nothing at the broker: nothing that is published there reaches a box.
"""

import threading
from collections.abc import Mapping
from typing import Any, Final

from etchweb.daemon.protocol import Daemon
from etchweb.fleet.broker import GOODBYE_S, Broker
from etchweb.fleet.outbox import Outbox
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.topics import (
    AWAY,
    BEAM_HOURS,
    DESCRIPTION,
    INIT,
    LOST,
    PAGE,
    READY,
    STATE,
    as_payload,
    base_of,
    description,
    values_of,
)
from etchwire.calls.catalogue import Heads
from etchwire.calls.snapshot import Snapshot
from etchwire.errors import WireError

EVERY_S: Final = 1.0
RETRY_S: Final = 2.0
IN_FLIGHT: Final = 20  # a slow broker gets fewer words, not older ones


class Reporter:
    """Two threads: one hears the daemon, one tells the broker once a second what is new."""

    def __init__(self, box: str, daemon: Daemon, settings: FleetSettings) -> None:
        self._box = box
        self._base = base_of(box)
        self._daemon = daemon
        self._outbox = Outbox(self._base)
        self._lock = threading.Lock()
        self._ending = threading.Event()
        self._under_way: list[Any] = []
        self._hours_of: object = ()
        self._broker = Broker(
            settings,
            f"etchwarden-{box}",
            will=(f"{self._base}/{STATE}", LOST),
            when_connected=self._begin_anew,
        )
        self._put({
            DESCRIPTION: description(box),
            PAGE.path: as_payload(settings.page),
            STATE: INIT,
        })  # fmt: skip
        self._threads = [
            threading.Thread(target=work, name=f"{box} {name}", daemon=True)
            for name, work in (("hearing", self._hear), ("telling", self._tell))
        ]

    @property
    def trouble(self) -> str | None:
        """A sentence while the broker cannot be told anything."""
        return self._broker.trouble

    def start(self) -> None:
        """Report from now on."""
        self._broker.start()
        for thread in self._threads:
            thread.start()

    def close(self) -> None:
        """Say that the box is away, and leave."""
        self._ending.set()
        self._threads[1].join(GOODBYE_S)
        self._broker.close(last_word=(f"{self._base}/{STATE}", AWAY))

    def _hear(self) -> None:
        while not self._ending.is_set():
            try:
                for snapshot in self._daemon.snapshots():
                    self._take(snapshot)
                    if self._ending.is_set():
                        return
            except WireError:
                self._put({STATE: INIT})  # the box's page is there, its daemon is not
            self._ending.wait(RETRY_S)

    def _take(self, snapshot: Snapshot) -> None:
        words = values_of(snapshot) | {STATE: READY}
        run = snapshot.run
        counted = None if run is None else (run.id, run.ended)
        if counted != self._hours_of:  # they grow when a run has ended
            self._hours_of = counted
            words[BEAM_HOURS.path] = as_payload(self._beam_hours())
        self._put(words)

    def _beam_hours(self) -> float | None:
        try:
            heads = self._daemon.ask(Heads()).heads
        except WireError:
            return None
        return round(sum(head.beam_s for head in heads) / 3600, 4)

    def _put(self, words: Mapping[str, str]) -> None:
        with self._lock:
            self._outbox.put(words)

    def _begin_anew(self) -> None:
        with self._lock:
            self._outbox.begin_anew()

    def _tell(self) -> None:
        while not self._ending.wait(EVERY_S):
            self._under_way = [one for one in self._under_way if not one.is_published()]
            while self._broker.trouble is None and len(self._under_way) < IN_FLIGHT:
                with self._lock:
                    word = self._outbox.next()
                if word is None:
                    break
                self._under_way.append(self._broker.publish(*word))
