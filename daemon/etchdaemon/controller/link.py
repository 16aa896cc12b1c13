"""Bytes from the controller to events, and lines to bytes for it: no port and no clock."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from etchdaemon.controller.codes import RESTARTING_ALARMS
from etchdaemon.controller.events import (
    LONGEST_LINE_BYTES,
    AlarmRaised,
    CountContradicted,
    Event,
    Greeted,
    LineAccepted,
    LineRefused,
    Place,
    StatusReported,
    StrayReplyReceived,
    Unreadable,
)
from etchdaemon.controller.parsing import ACCEPTED, parse_line
from etchdaemon.controller.window import ReceiveWindow


class Link:
    """The conversation with one controller, from one start of it to the next.

    The holder of the port moves the bytes: received ones go to `receive`, those that `send`
    returns go out. A greeting empties the window by itself.
    """

    def __init__(self) -> None:
        self.window = ReceiveWindow()
        self.empty_receive_bytes: int | None = None  # free when nothing is in flight, if known
        self._unread = b""
        self._is_given_up = False  # the line under way is too long: its rest is not kept
        self._offset_mm: Place | None = None
        # After an alarm, until its greeting: the 8-bit firmware may answer ok for a line that it
        # has dropped.
        self._is_restarting = False

    def receive(self, data: bytes) -> list[Event]:
        """Return each event completed by `data`, oldest first."""
        *lines, rest = (self._unread + data).split(b"\n")
        if self._is_given_up:
            if not lines:
                return []
            self._is_given_up = False
            del lines[0]
        events: list[Event] = []
        for line in lines:
            if line == b"ok\r" and self._may_be_answered:  # the busiest path by far
                self.window.release_oldest()
                events.append(ACCEPTED)
            else:
                events += self._events_of(line)
        if len(rest) >= LONGEST_LINE_BYTES:
            events.append(Unreadable(rest[:LONGEST_LINE_BYTES]))
            rest = b""
            self._is_given_up = True
        self._unread = rest
        return events

    def send(self, lines: Iterable[bytes]) -> bytes:
        """Count `lines` as sent and return their bytes; raise UnfitLine when one has no room."""
        ended = [line + b"\n" for line in lines]
        for line in ended:
            self.window.claim(line)
        return b"".join(ended)

    def forget(self) -> None:
        """Drop a half-received line and every line in flight: the controller is being reset."""
        self._unread = b""
        self._is_given_up = False
        self.window.forget()

    def held_bytes(self, report: StatusReported) -> int | None:
        """Return the bytes in the controller's buffer at `report`; None where it does not say."""
        if self.empty_receive_bytes is None or report.receive_free_bytes is None:
            return None
        return self.empty_receive_bytes - report.receive_free_bytes

    def _events_of(self, line: bytes) -> Iterator[Event]:
        if len(line) >= LONGEST_LINE_BYTES:
            yield Unreadable(line[:LONGEST_LINE_BYTES])
            return
        text = line.strip()
        if text:
            event = self._match(parse_line(text))
            yield event
            if (
                isinstance(event, StatusReported)
                and (excess_bytes := self._excess_bytes(event)) > 0
            ):
                yield CountContradicted(excess_bytes)

    def _excess_bytes(self, report: StatusReported) -> int:
        """Return the bytes that the controller holds beyond those in flight.

        Replies and reports keep their order, so every reply before the report is counted.
        """
        held_bytes = self.held_bytes(report)
        return 0 if held_bytes is None else held_bytes - self.window.taken_bytes

    def _match(self, event: Event) -> Event:
        match event:
            case LineAccepted():
                return event if self._release() else StrayReplyReceived("ok")
            case LineRefused(code=code):
                line = self._release()
                text = line.decode("ascii").rstrip()
                return LineRefused(code, text) if line else StrayReplyReceived(f"error:{code}")
            case AlarmRaised(code=code):
                self._is_restarting = code in RESTARTING_ALARMS
            case Greeted():
                self._is_restarting = False
                self.window.forget()
                self._offset_mm = None
            case StatusReported():
                return self._place(event)
        return event

    def _release(self) -> bytes:
        """Return the line that has just been answered, or nothing when none was in flight."""
        return self.window.release_oldest() if self._may_be_answered else b""

    @property
    def _may_be_answered(self) -> bool:
        """Whether there is a line that an answer can be for."""
        return bool(self.window.lines_in_flight) and not self._is_restarting

    def _place(self, report: StatusReported) -> StatusReported:
        """Return `report` with both positions, whichever of them the controller sent.

        The offset between them comes with the first report after a start and then seldom.
        """
        if report.offset_mm is not None:
            self._offset_mm = report.offset_mm
        if self._offset_mm is None:
            return report
        if report.work_mm is None and report.machine_mm is not None:
            work_mm = _difference(report.machine_mm, self._offset_mm)
            return replace(report, work_mm=work_mm, offset_mm=self._offset_mm)
        if report.machine_mm is None and report.work_mm is not None:
            negative = tuple(-value for value in self._offset_mm)
            machine_mm = _difference(report.work_mm, negative)
            return replace(report, machine_mm=machine_mm, offset_mm=self._offset_mm)
        return report


def _difference(one: Place, other: Place) -> Place:
    return tuple(round(a - b, 4) + 0.0 for a, b in zip(one, other, strict=False))  # no -0.0
