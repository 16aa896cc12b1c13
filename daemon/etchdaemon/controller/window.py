"""The receive window: flow control by counting the bytes of unanswered lines."""

from collections import deque
from typing import Final

from etchdaemon.errors import UnexpectedReply, UnfitLine

# More in flight gains nothing at 115200 baud and makes a stop byte wait behind it:
# 128 bytes take 11 ms.
MOST_BYTES: Final = 127


class ReceiveWindow:
    """The lines that the controller has not answered.

    The firmware answers each line once, in order, so a reply frees the bytes of the oldest line.
    One byte of the reported buffer stays free: a byte too many is dropped without notice.
    """

    def __init__(self, receive_bytes: int = MOST_BYTES + 1) -> None:
        self.capacity_bytes = min(receive_bytes - 1, MOST_BYTES)
        self.free_bytes = self.capacity_bytes
        self._in_flight: deque[bytes] = deque()

    @property
    def lines_in_flight(self) -> int:
        """How many lines are unanswered."""
        return len(self._in_flight)

    @property
    def oldest_line(self) -> bytes:
        """The line that is answered next; empty when there is none."""
        return self._in_flight[0] if self._in_flight else b""

    @property
    def taken_bytes(self) -> int:
        """The bytes that are unanswered: no fewer than the controller's buffer holds."""
        return self.capacity_bytes - self.free_bytes

    def claim(self, line: bytes) -> None:
        """Count `line`, its line end included, as sent; raise UnfitLine when it has no room."""
        left_bytes = self.free_bytes - len(line)
        if left_bytes < 0:
            raise UnfitLine(f"{len(line)} bytes, but only {self.free_bytes} are free")
        self.free_bytes = left_bytes
        self._in_flight.append(line)

    def release_oldest(self) -> bytes:
        """Return the oldest line and count it as answered; raise UnexpectedReply without one."""
        if not self._in_flight:
            raise UnexpectedReply("the controller answered a line that was never sent")
        line = self._in_flight.popleft()
        self.free_bytes += len(line)
        return line

    def forget(self) -> None:
        """Empty the window: the controller has restarted and answers none of its lines."""
        self._in_flight.clear()
        self.free_bytes = self.capacity_bytes
