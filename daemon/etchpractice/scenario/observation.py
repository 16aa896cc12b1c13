"""What is seen of an etch at one instant, as expectations ask for it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from etchpractice.machine_state import MachineState
from etchwire.calls.snapshot import Snapshot

PRESENCE: Final = "show somebody"  # no call: what the box waits for after its test
_TESTED: Final = frozenset(("waiting for somebody at the machine", "armed"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """Machine, box and daemon at one instant.

    `status` is None where no daemon answers; `refusal` is what the last call to it was refused
    with. `look_at_rows` returns how the tile is burnt: None where every row is as it should be;
    `look_at_tile` in which words it differs, wiped, from a flawless one;
    `look_at_notes` returns what the logbook notes about itself, the newest first;
    `look_at_alerts` what has reached people by webhook or mail.
    """

    machine: MachineState
    status: Snapshot | None
    refusal: str | None = None
    look_at_rows: Callable[[], str | None] = lambda: None
    look_at_tile: Callable[[], Sequence[str]] = tuple
    look_at_notes: Callable[[], Sequence[str]] = tuple
    look_at_alerts: Callable[[], Sequence[str]] = tuple

    @property
    def trips(self) -> list[str]:
        """The names of what has tripped and waits for a reset, sorted."""
        return (
            []
            if self.status is None
            else sorted(trip.name for trip in self.status.interlocks.trips)
        )

    @property
    def may(self) -> tuple[str, ...]:
        """What may be asked of the daemon, and done at the machine."""
        if self.status is None:
            return ()
        is_tested = self.status.interlocks.arming.step in _TESTED
        return (*self.status.may, *((PRESENCE,) if is_tested else ()))

    @property
    def row(self) -> int:
        """How far the picture is: the row in work, or else the rows that are done."""
        run = None if self.status is None else self.status.run
        return 0 if run is None else max(run.row or 0, run.etched_rows)
