"""When a reply or a report is given up; never by a timer on replies alone.

A full planner answers late, a held machine not at all, and a stopped program finds all its
answers waiting: so reports are what counts, not the clock.
"""

from dataclasses import dataclass
from typing import Final

from etchdaemon.controller.events import StatusReported
from etchdaemon.controller.lines import dwell_s

SILENT_AFTER_REQUESTS: Final = 5
IDLE_APART_S: Final = 1.0


@dataclass(slots=True)
class ReplyTimeouts:
    """Counts report requests without an answer, and idle time with lines unanswered."""

    unanswered_requests: int = 0
    has_lost_a_reply: bool = False
    _idle_since_s: float | None = None

    @property
    def is_silent(self) -> bool:
        """Whether five requests in a row went unanswered."""
        return self.unanswered_requests >= SILENT_AFTER_REQUESTS

    def note_request(self) -> None:
        """Count a request."""
        self.unanswered_requests += 1

    def replied(self) -> None:
        """Note that a line was answered."""
        self._idle_since_s = None

    def reported(self, report: StatusReported, *, oldest_line: bytes, now_s: float) -> None:
        """Note a report: an idle machine that owes a reply to a line has lost it.

        `oldest_line` is the one unanswered longest, empty when there is none; a dwell is given
        its time.
        """
        self.unanswered_requests = 0
        if not report.is_idle or not oldest_line:
            self._idle_since_s = None
        elif self._idle_since_s is None:
            self._idle_since_s = now_s
        elif now_s - self._idle_since_s >= IDLE_APART_S + dwell_s(oldest_line):
            self.has_lost_a_reply = True

    def forget(self) -> None:
        """Begin anew: the controller has restarted."""
        self.unanswered_requests = 0
        self.has_lost_a_reply = False
        self._idle_since_s = None
