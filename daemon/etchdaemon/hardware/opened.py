"""Which inputs have opened since the last look: one slot an input, filled by whoever sees it."""

import threading
from collections.abc import Mapping
from typing import Final

from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.inputs import CUTS_ON_EDGE, Input
from etchdaemon.ports import Doorbell

EDGES_LOST: Final = (
    "Edges of the inputs are no longer reported: a contact that opens is noticed by the poll only."
    " Restart the box's control program when nothing is being etched."
)


class OpenedInputs:
    """Hands edges from any thread to the one that looks, and wakes it where it is urgent.

    A queue would fill up behind a chattering contact and tell of old edges first; a slot cannot,
    and that an input has opened is all there is to know.
    """

    def __init__(self, doorbell: Doorbell) -> None:
        self._doorbell = doorbell
        self._lock = threading.Lock()
        self._opened: dict[Input, Edge] = {}

    def note(self, name: Input, edge: Edge) -> None:
        """Note that `name` was seen open."""
        with self._lock:
            is_news = name not in self._opened
            self._opened[name] = edge
        if is_news and name in CUTS_ON_EDGE:
            self._doorbell.ring()

    def take(self) -> Mapping[Input, Edge]:
        """Return what has opened, and forget it."""
        with self._lock:
            taken, self._opened = self._opened, {}
        return taken
