"""A reset on purpose: the byte, a greeting within three seconds, one repeat."""

from dataclasses import dataclass
from typing import ClassVar, Final

from etchdaemon.controller.events import Event, Greeted
from etchdaemon.controller.orders import NOTHING, Order, Orders

GREETING_TIMEOUT_S: Final = 3.0
REPEAT_S: Final = 1.0


@dataclass(slots=True)
class Resetting:
    """The reset byte and its greeting; `has_answered` is None while it waits."""

    polls_every_s: ClassVar[float | None] = None  # it cannot answer

    has_answered: bool | None = None
    is_repeated: bool = False  # the controller was silent for a while
    _began_at_s: float = 0.0

    @property
    def is_over(self) -> bool:
        """Whether the controller has greeted, or the time for it is up."""
        return self.has_answered is not None

    def begin(self, now_s: float) -> Orders:
        """Throw away what the port still holds, so that the byte goes out alone."""
        self._began_at_s = now_s
        return (Order.DISCARD_OUTPUT, Order.RESET)

    def handle_event(self, event: Event, now_s: float) -> Orders:  # noqa: ARG002 - a Sequence's signature
        """Wait for the greeting."""
        if isinstance(event, Greeted):
            self.has_answered = True
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Repeat the byte once, then give up."""
        waited_s = now_s - self._began_at_s
        if self.has_answered is None and waited_s >= GREETING_TIMEOUT_S:
            self.has_answered = False
        if waited_s < REPEAT_S or self.is_repeated or self.has_answered is not None:
            return NOTHING
        self.is_repeated = True
        return (Order.RESET,)


@dataclass(slots=True)
class Emergency(Resetting):
    """Beam enable off, then the reset byte alone, without waiting for rest."""

    def begin(self, now_s: float) -> Orders:
        """Cut before anything else."""
        return (Order.CUT_BEAM, *Resetting.begin(self, now_s))
