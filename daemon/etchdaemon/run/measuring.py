"""The controller's lines per second, measured by rows of short steps with the beam off.

Each row runs as fast as the machine goes, there and back, and the reports show the speed. The
beam's contact stays open, and the beam is switched off first.
"""

import math
from collections import deque
from dataclasses import dataclass, field
from statistics import fmean
from typing import ClassVar, Final

from etchdaemon.controller.controller_command import NO_ANSWER, failure_by
from etchdaemon.controller.events import Event, LineAccepted, StatusReported
from etchdaemon.controller.firmware import Firmware
from etchdaemon.controller.orders import NOTHING, Orders, SendLine
from etchdaemon.run.moving import BEAM_OFF, POLLS_EVERY_S
from etchwire.controller.measured import SpeedSample

WAY_MM: Final = 40.0
STEPS_MM: Final = (0.05, 0.1, 0.15, 0.2, 0.3, 0.5)
FEED_SHARES: Final = (1.0, 0.6)  # of the greatest speed that is even for long enough
EVEN_S: Final = 0.3
TIMEOUT_S: Final = 90.0
_MODES: Final = (BEAM_OFF, b"G21G91G94G1F1000")  # the mode is refused without a speed
_ROW_ENDS: Final = b"G4P0.01"  # answered when the head stands
_ENDING: Final = b"G90"
_FROM, _TO = 0.25, 0.85  # of the way: between them the speed is even


def even_feed_mm_per_min(acceleration_mm_per_s2: float) -> float:
    """Return the speed that is even for EVEN_S between the ramps: v²/a + EVEN_S v = WAY_MM."""
    root = math.sqrt(EVEN_S**2 + 4 * WAY_MM / acceleration_mm_per_s2)
    return (root - EVEN_S) / 2 * acceleration_mm_per_s2 * 60


@dataclass(frozen=True, slots=True)
class _Row:
    step_mm: float  # signed
    feed_mm_per_min: float

    @property
    def line(self) -> bytes:
        # The words of a dot's line, because each costs the controller time; no beam comes of S0.
        return f"X{self.step_mm:g}S0".replace("0.", ".").encode("ascii")

    def lines(self) -> list[bytes]:
        first = self.line + f"F{self.feed_mm_per_min:.0f}".encode("ascii")
        return [first, *[self.line] * (round(WAY_MM / abs(self.step_mm)) - 1), _ROW_ENDS]


@dataclass(slots=True, kw_only=True)
class Measuring:
    """Runs the rows to one side of the head's place and back, and keeps the `samples`.

    At its end `failure` is a sentence where it failed.
    """

    polls_every_s: ClassVar[float | None] = POLLS_EVERY_S

    firmware: Firmware
    max_feed_mm_per_min: float
    window_bytes: int
    way: int  # 1 to the right, -1 to the left
    samples: list[SpeedSample] = field(default_factory=list)
    failure: str | None = None
    is_over: bool = False
    _rows: deque[_Row] = field(default_factory=deque)
    _waiting: deque[bytes] = field(default_factory=deque)
    _in_flight: deque[bytes] = field(default_factory=deque)
    _seen: list[tuple[float, float, float]] = field(default_factory=list)  # s, mm, mm/min
    _began_at_mm: float | None = None
    _until_s: float = 0.0

    def __post_init__(self) -> None:
        sides = (1, -1)
        self._rows.extend(
            _Row(side * self.way * step_mm, share * self.max_feed_mm_per_min)
            for step_mm in STEPS_MM
            for share, side in zip(FEED_SHARES, sides, strict=True)
        )
        self._waiting.extend(_MODES)
        for row in self._rows:
            self._waiting.extend(row.lines())
        self._waiting.append(_ENDING)

    def begin(self, now_s: float) -> Orders:
        """Switch the beam off, and fill the controller's buffer."""
        self._until_s = now_s + TIMEOUT_S
        return self._what_fits()

    def handle_event(self, event: Event, now_s: float) -> Orders:
        """Keep the buffer full, and note the head's places."""
        match event:
            case LineAccepted() if self._in_flight:
                self._answered(self._in_flight.popleft())
                return self._what_fits()
            case StatusReported():
                self._reported(event, now_s)
            case _ if (sentence := failure_by(event, self.firmware)) is not None:
                self._fail(sentence)
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Give up when it takes too long."""
        if not self.is_over and now_s >= self._until_s:
            self._fail(NO_ANSWER)
        return NOTHING

    def stop(self, because: str, now_s: float) -> Orders:  # noqa: ARG002 - as of a move
        """Send no more: the head stops at the end of what the controller has."""
        self.failure = self.failure or because
        self._waiting.clear()
        self._waiting.append(_ENDING)
        return NOTHING

    def _what_fits(self) -> Orders:
        free_bytes = self.window_bytes - sum(len(line) + 1 for line in self._in_flight)
        orders: list[SendLine] = []
        while self._waiting and len(self._waiting[0]) < free_bytes:
            line = self._waiting.popleft()
            free_bytes -= len(line) + 1
            self._in_flight.append(line)
            orders.append(SendLine(line))
        return orders

    def _answered(self, line: bytes) -> None:
        if line == _ROW_ENDS and self._rows:
            self._finish(self._rows.popleft())
        self.is_over |= not self._in_flight and not self._waiting

    def _reported(self, report: StatusReported, now_s: float) -> None:
        if report.machine_mm is None:
            return
        x_mm = report.machine_mm[0]
        if self._began_at_mm is None:
            self._began_at_mm = x_mm
        gone = abs(x_mm - self._began_at_mm) / WAY_MM
        if report.state == "Run" and _FROM <= gone <= _TO:
            self._seen.append((now_s, x_mm, report.feed_mm_per_min or 0.0))

    def _finish(self, row: _Row) -> None:
        """Take the row's speed: by the places seen, or by the speeds shown where it was short."""
        seen, self._seen = self._seen, []
        if self._began_at_mm is not None:
            self._began_at_mm += WAY_MM if row.step_mm > 0 else -WAY_MM
        if len(seen) >= 4:
            speed = abs(seen[-1][1] - seen[0][1]) / (seen[-1][0] - seen[0][0]) * 60
        elif seen:
            speed = fmean(feed for _, _, feed in seen)
        else:
            return
        if speed:
            step_mm = abs(row.step_mm)
            size = len(row.line) + 1
            self.samples.append(SpeedSample(step_mm, row.feed_mm_per_min, speed, size))

    def _fail(self, because: str) -> None:
        self.failure = because
        self._waiting.clear()
        self.is_over = True
