"""What the daemon needs from outside, as protocols: where real and simulated parts meet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol


class Clock(Protocol):
    """Time that never jumps, and the wall's time beside it."""

    def now_s(self) -> float:
        """Return the machine's monotonic seconds (simulated ones on the practice machine)."""
        ...

    def utc_now(self) -> str:
        """Return the wall clock's time as ISO 8601 in UTC, to the second."""
        ...

    @property
    def seconds_per_wall_second(self) -> float:
        """How much faster than the wall the machine's time is meant to run; 1 on a real one."""
        ...


class BytePort(Protocol):
    """A serial line to the controller."""

    def read_waiting(self) -> bytes:
        """Return the bytes that have arrived, possibly none, without waiting; raise PortLost."""
        ...

    def write(self, data: bytes) -> None:
        """Hand over every byte of `data`; raise PortLost."""
        ...

    def discard_output(self) -> None:
        """Throw away what was written and has not left yet; raise PortLost."""
        ...

    def close(self) -> None:
        """Let go of the port; never raises."""
        ...


class PortOpener(Protocol):
    """Opens the serial line, for ourselves alone."""

    def __call__(self) -> BytePort:
        """Open the configured port; raise PortLost with a sentence when it cannot be had."""
        ...


class BeamEnable(Protocol):
    """The daemon's own contact in the laser's supply chain."""

    def allow(self) -> None:
        """Close the contact."""
        ...

    def cut(self) -> None:
        """Open the contact; harmless when it is open."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class RowActuals:
    """What was really run in one row while the beam was on, weighted by time."""

    row: int
    samples: int
    is_estimated: bool  # fewer than five samples
    feed_mean_mm_per_min: float | None
    feed_min_mm_per_min: float | None
    feed_max_mm_per_min: float | None
    power_mean_ratio: float | None
    power_min_ratio: float | None
    power_max_ratio: float | None
    at_s: float  # seconds since the start of the run


class Records(Protocol):
    """The logbook as the serial loop sees it: nothing but a start and a resume waits for it."""

    def start_run(self, *, sheet_json: str, started_at_utc: str, notes: Mapping[str, Any]) -> int:
        """Write a run's start, wait until it is on disk and return its number.

        Raise LogbookUnavailable when it cannot be written: then nothing may start.
        """
        ...

    def note_event(
        self,
        run: int,
        *,
        at_s: float,
        at_utc: str,
        kind: str,
        text: str,
        details: Mapping[str, Any],
    ) -> None:
        """Queue an event of a run (hold, resume, trip, warning ...), first in line; never waits."""
        ...

    def confirm_event(
        self,
        run: int,
        *,
        at_s: float,
        at_utc: str,
        kind: str,
        text: str,
        details: Mapping[str, Any],
    ) -> None:
        """As `note_event`, but wait until it is on disk (a resume); raise LogbookUnavailable."""
        ...

    def note_rows(self, run: int, rows: Sequence[RowActuals]) -> None:
        """Queue rows' actuals; the writer commits at most once a second."""
        ...

    def end_run(
        self, run: int, *, ended: str, because: str, elapsed_s: float, at_utc: str, etched_rows: int
    ) -> None:
        """Queue a run's end: `ended` is complete, stopped or failed; never waits."""
        ...

    @property
    def trouble(self) -> str | None:
        """A sentence when the logbook cannot be written at present, else None."""
        ...
