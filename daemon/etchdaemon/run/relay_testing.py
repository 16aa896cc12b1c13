"""The test of the safety relay at the end of a complete run, before the beam's contact opens."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar

from etchdaemon.controller.events import Event
from etchdaemon.controller.orders import NOTHING, Orders
from etchdaemon.run.holding import WATCHFUL_S


@dataclass(slots=True)
class RelayTesting:
    """Waits at rest until the guard has seen the loop open, or stay closed."""

    polls_every_s: ClassVar[float | None] = WATCHFUL_S  # a machine that moves is noticed

    is_tested: Callable[[], bool]  # in wall-clock time, as contacts are

    @property
    def is_over(self) -> bool:
        """Whether the guard has come to a result."""
        return self.is_tested()

    def begin(self, now_s: float) -> Orders:  # noqa: ARG002 - a Sequence's signature
        """Order nothing: the guard has begun the test."""
        return NOTHING

    def handle_event(self, event: Event, now_s: float) -> Orders:  # noqa: ARG002
        """Nothing to do: faults are judged elsewhere."""
        return NOTHING

    def tick(self, now_s: float) -> Orders:  # noqa: ARG002
        """Nothing to do: the guard ends the test in time, and a guard that hangs is a trip."""
        return NOTHING
