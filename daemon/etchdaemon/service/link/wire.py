"""The open port and the conversation on it."""

from collections import deque
from collections.abc import Sequence
from typing import Final

from etchdaemon.controller import realtime
from etchdaemon.controller.events import Event, LineRefused, StatusReported
from etchdaemon.controller.link import Link
from etchdaemon.controller.orders import Order
from etchdaemon.controller.parsing import ACCEPTED
from etchdaemon.controller.window import ReceiveWindow
from etchdaemon.ports import BytePort
from etchdaemon.run.reply_timeouts import ReplyTimeouts

LOST_AFTER_S: Final = 1.0
TOGETHER_S: Final = 0.05
ORDERED_BYTES: Final = {
    Order.REPORT: realtime.REPORT,
    Order.FEED_HOLD: realtime.FEED_HOLD,
    Order.JOG_CANCEL: realtime.JOG_CANCEL,
    Order.CYCLE_START: realtime.CYCLE_START,
    Order.RESET: realtime.RESET,
}


class Wire:
    """Moves bytes between the link and the port, and keeps count of what is owed.

    Every method that touches the port raises PortLost.
    """

    def __init__(self, port: BytePort) -> None:
        self.reply_timeouts = ReplyTimeouts()
        self.asked_at_s = 0.0  # when the last report was asked for
        self.heard_was_asked_at_s = 0.0  # when the report heard last was, at the earliest
        self._port = port
        self.link = Link()
        self._due = b""  # a report request that may wait for the next lines
        self._requests_s: deque[float] = deque()  # of reports still to come

    def read_events(self, now_s: float) -> list[Event]:
        """Return what the controller has said since the last time."""
        data = self._port.read_waiting()
        if not data:
            return []
        events = self.link.receive(data)
        for event in events:
            if event is ACCEPTED:  # the busiest path by far
                self.reply_timeouts.replied()
                continue
            match event:
                case LineRefused():
                    self.reply_timeouts.replied()
                case StatusReported():
                    if self._requests_s:
                        self.heard_was_asked_at_s = self._requests_s.popleft()
                    oldest_line = self.link.window.oldest_line
                    self.reply_timeouts.reported(event, oldest_line=oldest_line, now_s=now_s)
        return events

    def poll(self, every_s: float, now_s: float) -> None:
        """Ask for a report with the next bytes, when it is time."""
        if now_s - self.asked_at_s >= every_s:
            self._note_request(now_s)
            self._due = realtime.REPORT

    def obey(self, order: Order, now_s: float) -> None:
        """Write the byte of `order` at once, ahead of every line; or empty the port's queue."""
        if order is Order.DISCARD_OUTPUT:
            self._port.discard_output()
            return
        if order is Order.REPORT:
            self._note_request(now_s)
        if order is Order.RESET:
            self.link.forget()
            self.reply_timeouts.forget()
        self._port.write(ORDERED_BYTES[order])

    def put(self, byte: bytes) -> None:
        """Write a real-time byte that is no order."""
        self._port.write(byte)

    def send(self, lines: Sequence[bytes]) -> None:
        """Write `lines`, and the report request that is due, in one piece."""
        data = self._due + self.link.send(lines) if lines else self._due
        if data:
            self._due = b""
            self._port.write(data)

    def count_by(self, receive_bytes: int, *, empty_bytes: int | None) -> None:
        """From now on fill a buffer of the size that the controller has reported.

        `empty_bytes` is what it called free while nothing was in flight.
        """
        self.link.window = ReceiveWindow(receive_bytes)
        self.link.empty_receive_bytes = empty_bytes

    def close(self) -> None:
        """Let go of the port."""
        self._port.close()

    def _note_request(self, now_s: float) -> None:
        """Queue the request for the report that will answer it.

        Two that reach the controller together bring one report, which may answer the earlier
        one; whatever did not come for a second will not come.
        """
        requests_s = self._requests_s
        while requests_s and now_s - requests_s[0] > LOST_AFTER_S:
            requests_s.popleft()
        if not requests_s or now_s - requests_s[-1] > TOGETHER_S:
            requests_s.append(now_s)
        self.asked_at_s = now_s
        self.reply_timeouts.note_request()
