"""What is seen of an etch at one instant, as expectations ask for it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from etchpractice.controller.states import MOVING

PRESENCE: Final = "show somebody"  # no wish: what the box waits for after its test
_TESTED: Final = frozenset(("waiting for somebody at the machine", "armed"))
_MOVING: Final = frozenset(state.value for state in MOVING)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """Machine, box and daemon at one instant.

    `machine` is what the practice machine's `state` says; `status` is the daemon's snapshot,
    None where no daemon answers; `refusal` is what the last thing asked of it was refused with.
    `look_at_rows` tells how the tile is burnt: None where every row is as it should be;
    `look_at_notes` returns what the logbook notes about itself, the newest first;
    `look_at_alerts` what has reached people by webhook or mail.
    """

    machine: Mapping[str, Any]
    status: Mapping[str, Any] | None
    refusal: str | None = None
    look_at_rows: Callable[[], str | None] = lambda: None
    look_at_notes: Callable[[], Sequence[str]] = tuple
    look_at_alerts: Callable[[], Sequence[str]] = tuple

    @property
    def now_s(self) -> float:
        """The machine's seconds."""
        return float(self.machine["now_s"])

    @property
    def has_beam(self) -> bool:
        """Whether light falls on the tile, or could."""
        return bool(self.machine["is_burning"] or self.machine["is_beam_enabled"])

    @property
    def is_moving(self) -> bool:
        """Whether the machine is not at rest."""
        return self.machine["controller_state"] in _MOVING

    @property
    def run(self) -> Mapping[str, Any]:
        """The daemon's run, empty where there is none."""
        return (self.status or {}).get("run") or {}

    @property
    def trips(self) -> list[str]:
        """The names of what has tripped and waits for a reset, sorted."""
        return sorted(trip["name"] for trip in self._box.get("trips", ()))

    @property
    def may(self) -> tuple[str, ...]:
        """What may be asked of the daemon, and done at the machine."""
        step = (self._box.get("arming") or {}).get("step")
        shown = (PRESENCE,) if step in _TESTED else ()
        return (*(self.status or {}).get("may", ()), *shown)

    @property
    def row(self) -> int:
        """How far the picture is: the row in work, or else the rows that are done."""
        run = self.run
        return max(run.get("row") or 0, run.get("etched_rows") or 0)

    @property
    def _box(self) -> Mapping[str, Any]:
        return (self.status or {}).get("interlocks") or {}
