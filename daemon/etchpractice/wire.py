"""The serial line as the controller sees it: bytes that take their time, and two small rings."""

import re
from collections import deque
from typing import Final

BITS_PER_BYTE: Final = 10  # one start bit, eight data bits, one stop bit
NEVER_S: Final = float("inf")
_EARLY: Final = 1e-6  # of a byte; what arithmetic may lose on the way
_LINE_END = re.compile(rb"[\r\n]")
_REAL_TIME = re.compile(rb"[\x18?!~\x80-\xff]")
_REAL_TIME_32_BIT = re.compile(rb"[\x03\x05\x18\x19?!~\x80-\xff]")


class ReceiveRing:
    """Bytes under way to the controller, and those that arrived and were not read yet.

    Real-time bytes are taken out on arrival. Of the others the ring holds `ring_bytes`; what
    arrives when it is full is lost without a word, as on the real part.
    """

    def __init__(self, *, baud: int, ring_bytes: int, has_more_real_time: bool = False) -> None:
        self.byte_s = BITS_PER_BYTE / baud
        self.ring_bytes = ring_bytes
        self.ring = bytearray()
        self.lost_bytes = 0
        self.deaf_until_s = 0.0
        self._pattern = _REAL_TIME_32_BIT if has_more_real_time else _REAL_TIME
        self._flight = bytearray()
        self._first_s = 0.0  # arrival of the first byte in flight
        self._passed = 0  # bytes that have left the flight since the start
        self._real_time: deque[int] = deque()
        self._line_ends: deque[int] = deque()

    @property
    def free_bytes(self) -> int:
        """Room left in the ring."""
        return self.ring_bytes - len(self.ring)

    @property
    def is_quiet(self) -> bool:
        """Whether nothing is under way and nothing waits to be read."""
        return not self._flight and not self.ring

    @property
    def next_real_time_s(self) -> float:
        """When the next real-time byte arrives."""
        return self._arrival_s(self._real_time[0]) if self._real_time else NEVER_S

    @property
    def next_line_end_s(self) -> float:
        """When the next line is complete."""
        return self._arrival_s(self._line_ends[0]) if self._line_ends else NEVER_S

    def _arrival_s(self, place: int) -> float:
        return self._first_s + (place - self._passed) * self.byte_s

    def write(self, data: bytes, now_s: float) -> None:
        """Put `data` on the line; every byte before must have been received by `now_s`."""
        if not self._flight:
            self._first_s = max(now_s, self._first_s - self.byte_s) + self.byte_s
        start = self._passed + len(self._flight)
        for match in self._pattern.finditer(data):
            self._real_time.append(start + match.start())
        for match in _LINE_END.finditer(data):
            self._line_ends.append(start + match.start())
        self._flight += data

    def receive(self, now_s: float, *, is_read: bool) -> bytes:
        """Move what has arrived into the ring and return the real-time bytes among it.

        `is_read` says that the main loop has been reading since the last call, so that nothing
        can have been lost.
        """
        if not self._flight or now_s < self._first_s - _EARLY * self.byte_s:
            return b""
        count = int((now_s - self._first_s) / self.byte_s + 1 + _EARLY)
        chunk = self._flight[:count]
        del self._flight[:count]
        start, count = self._passed, len(chunk)
        self._passed += count
        self._first_s += count * self.byte_s
        while self._line_ends and self._line_ends[0] < self._passed:
            self._line_ends.popleft()
        commands = b""
        if self._real_time and self._real_time[0] < self._passed:
            commands = self._take_real_time(chunk, start)
        self._store(chunk, now_s, is_read=is_read)
        return commands

    def _take_real_time(self, chunk: bytearray, start: int) -> bytes:
        places = []
        while self._real_time and self._real_time[0] < self._passed:
            places.append(self._real_time.popleft() - start)
        commands = bytes(chunk[place] for place in places)
        for place in reversed(places):
            del chunk[place]
        return commands

    def _store(self, chunk: bytearray, now_s: float, *, is_read: bool) -> None:
        if now_s < self.deaf_until_s:
            self.lost_bytes += len(chunk)
            return
        room = self.ring_bytes - len(self.ring)
        if not is_read and len(chunk) > room:
            self.lost_bytes += len(chunk) - room
            del chunk[room:]
        self.ring += chunk

    def clear(self) -> None:
        """Forget what has arrived; what is under way still comes."""
        self.ring.clear()

    def cut(self) -> None:
        """Forget everything, what is under way included: the cable is out."""
        self.ring.clear()
        self._passed += len(self._flight)
        self._flight.clear()
        self._real_time.clear()
        self._line_ends.clear()


class SendRing:
    """Bytes under way to the host, sent one after another at the baud rate."""

    def __init__(self, *, baud: int, ring_bytes: int) -> None:
        self.byte_s = BITS_PER_BYTE / baud
        self.ring_bytes = ring_bytes
        self.is_mute = False
        self.delay_s = 0.0
        self._free_s = 0.0  # when the last byte will have left
        self._queue: deque[tuple[float, bytes]] = deque()  # (arrival of the first byte, bytes)

    def send(self, data: bytes, now_s: float) -> None:
        """Put `data` behind what is being sent."""
        if self.is_mute:
            return
        start_s = max(self._free_s, now_s)
        self._free_s = start_s + len(data) * self.byte_s
        self._queue.append((start_s + self.byte_s + self.delay_s, data))

    @property
    def room_s(self) -> float:
        """When what was sent last will have found room in the ring; the sender waits so long."""
        return self._free_s - self.ring_bytes * self.byte_s

    @property
    def next_arrival_s(self) -> float:
        """When the next byte reaches the host."""
        return self._queue[0][0] if self._queue else NEVER_S

    def take(self, now_s: float) -> bytes:
        """Return, and forget, the bytes that have reached the host."""
        queue = self._queue
        if not queue or queue[0][0] > now_s + 1e-9:
            return b""
        taken = bytearray()
        while queue:
            first_s, data = queue[0]
            count = int((now_s - first_s) / self.byte_s + 1 + _EARLY)
            if count <= 0:
                break
            if count < len(data):
                taken += data[:count]
                queue[0] = (first_s + count * self.byte_s, data[count:])
                break
            taken += data
            queue.popleft()
        return bytes(taken)

    def cut(self) -> None:
        """Forget what is under way: the cable is out."""
        self._queue.clear()
        self._free_s = 0.0
