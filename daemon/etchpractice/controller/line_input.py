"""Lines on their way from the ring to an answer: bytes to whole lines, and the line in work."""

from collections.abc import Generator
from typing import Final

from etchpractice.controller.modal import Triple
from etchpractice.motion.planner import Order
from etchpractice.wire import NEVER_S, ReceiveRing

_LONGEST_PARTIAL_BYTES: Final = 4096
_LINE_FEED: Final = 0x0A
_RETURN: Final = 0x0D


class LineInput:
    """Takes whole lines out of the ring, and holds the one that was read and is not answered yet.

    That is a move which waits for room in the planner (`waiting`), or a `task`, which wants to be
    asked again by `wake_s`.
    """

    def __init__(self, receive: ReceiveRing, *, pairs_line_ends: bool) -> None:
        self._receive = receive
        self._pairs_line_ends = pairs_line_ends
        self._partial = bytearray()
        self._pair = 0  # the byte that would be the other half of the line end just read
        self.waiting: tuple[Triple, Order] | None = None
        self.task: Generator[float, None, None] | None = None
        self.wake_s = NEVER_S
        self.sticky_error = 0

    @property
    def is_in_work(self) -> bool:
        """Whether a line was read and is not answered yet."""
        return self.waiting is not None or self.task is not None

    def take(self) -> bytes | None:
        """Return the next whole line without its end, or None while there is none."""
        ring = self._receive.ring
        if self._pair and ring:
            if ring[0] == self._pair:
                del ring[0]
            self._pair = 0
        if not ring:
            return None
        at = ring.find(b"\n")
        if b"\r" in ring:
            at = min(at, ring.find(b"\r")) if at >= 0 else ring.find(b"\r")
        if at < 0:
            self.take_partial()
            return None
        if self._pairs_line_ends:
            self._pair = _LINE_FEED + _RETURN - ring[at]
        raw = bytes(self._partial) + bytes(ring[:at])
        del ring[: at + 1]
        self._partial.clear()
        return raw

    def take_partial(self) -> None:
        """Read what has come of a line, if that is all there is."""
        ring = self._receive.ring
        if b"\n" not in ring and b"\r" not in ring:
            self._partial += ring
            ring.clear()
            del self._partial[_LONGEST_PARTIAL_BYTES:]

    def clear(self) -> None:
        """Throw away what was received and not run, and the line in work."""
        self._receive.clear()
        self._partial.clear()
        self.waiting = self.task = None
        self.wake_s = NEVER_S
        self.sticky_error = 0
