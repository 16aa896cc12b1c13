"""Speed and power changed while an etch runs: byte by byte, spaced, and read back.

The firmware keeps one flag for each kind of byte, so bytes that follow too closely merge into one.
With dynamic power the beam follows the speed, so a higher speed is a higher power as well: the
energy per millimetre stays the same, up to the laser's full power.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Final

from etchdaemon.controller.events import StatusReported
from etchdaemon.controller.realtime import (
    FEED_STEPS,
    HIGHEST_PERCENT,
    LOWEST_PERCENT,
    OVERRIDE_SPACING_S,
    POWER_STEPS,
    override_steps,
)
from etchdaemon.errors import CommandRefused

MOST_ATTEMPTS: Final = 3


class Override(Enum):
    """What can be changed while an etch runs."""

    FEED = "feed"
    POWER = "power"


_STEPS: Final = {Override.FEED: FEED_STEPS, Override.POWER: POWER_STEPS}
_PLACE: Final = {Override.FEED: 0, Override.POWER: 2}  # in the report: feed, rapid, power


@dataclass(slots=True)
class Overrides:
    """The percentages requested and reported, and the bytes that lead from one to the other.

    `failed` is the override that has not followed after three attempts.
    """

    requested_percent: dict[Override, int] = field(
        default_factory=lambda: dict.fromkeys(Override, 100)
    )
    reported_percent: dict[Override, int] = field(
        default_factory=lambda: dict.fromkeys(Override, 100)
    )
    failed: Override | None = None
    _bytes: list[bytes] = field(default_factory=list)
    _attempts: int = 0
    _sent_at_s: float = float("-inf")
    _awaits_report: bool = False

    def request(self, override: Override, percent: int) -> None:
        """Request `percent` of the recipe; raise CommandRefused for what no firmware allows."""
        if not LOWEST_PERCENT <= percent <= HIGHEST_PERCENT:
            raise CommandRefused(
                f"{percent} % is not possible; choose from {LOWEST_PERCENT} to {HIGHEST_PERCENT}."
            )
        self.requested_percent[override] = percent
        self.failed = None
        self._attempts = 0
        if not self._awaits_report and not self._bytes:
            self._plan()

    def next_byte(self, now_s: float) -> bytes | None:
        """Return the byte that is due now, if any."""
        if not self._bytes or now_s - self._sent_at_s < OVERRIDE_SPACING_S:
            return None
        self._sent_at_s = now_s
        self._awaits_report = True
        return self._bytes.pop(0)

    def note_report(self, report: StatusReported, *, asked_at_s: float) -> None:
        """Read back the percentages, if `report` was requested after the last byte was sent."""
        if report.overrides_percent is None:
            return
        for override in Override:
            self.reported_percent[override] = report.overrides_percent[_PLACE[override]]
        if self._bytes or not self._awaits_report or asked_at_s <= self._sent_at_s:
            return
        self._awaits_report = False
        self._plan()

    def _plan(self) -> None:
        differing = [override for override in Override if self._is_off(override)]
        if not differing:
            return
        self._attempts += 1
        if self._attempts > MOST_ATTEMPTS:
            self.failed = differing[0]
            return
        self._bytes = [byte for override in differing for byte in self._way(override)]

    def _is_off(self, override: Override) -> bool:
        return self.reported_percent[override] != self.requested_percent[override]

    def _way(self, override: Override) -> list[bytes]:
        steps: Mapping[int, bytes] = _STEPS[override]
        return override_steps(
            now_percent=self.reported_percent[override],
            requested_percent=self.requested_percent[override],
            steps=steps,
        )
