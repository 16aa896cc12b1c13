"""What a sequence wants done next, as values: whoever holds port and contacts carries it out."""

from collections.abc import Sequence as Listed
from dataclasses import dataclass
from enum import Enum, auto
from typing import Protocol, TypeAlias

from etchdaemon.controller.events import Event


class Order(Enum):
    """One act that needs no further word."""

    CUT_BEAM = auto()
    ALLOW_BEAM = auto()
    DISCARD_OUTPUT = auto()
    REPORT = auto()
    FEED_HOLD = auto()
    JOG_CANCEL = auto()  # only while nothing but jogs was sent: it may empty the receive buffer
    CYCLE_START = auto()
    RESET = auto()


@dataclass(frozen=True, slots=True)
class Say:
    """A line to send; its reply and what comes before it are the answer."""

    line: bytes


Orders: TypeAlias = Listed[Order | Say]

NOTHING: Orders = ()


class Sequence(Protocol):
    """A procedure in several steps, between a beginning and an outcome.

    It is told what happens and what time it is, and returns what is to be done. Time is
    monotonic seconds. `polls_every_s` is how often it wants reports asked for; None is never.
    """

    @property
    def polls_every_s(self) -> float | None:
        """How often reports are to be asked for, if at all."""
        ...

    @property
    def is_over(self) -> bool:
        """Whether it has reached its end, good or bad."""
        ...

    def begin(self, now_s: float) -> Orders:
        """Return the first orders."""
        ...

    def hear(self, event: Event, now_s: float) -> Orders:
        """Take note of `event`."""
        ...

    def tick(self, now_s: float) -> Orders:
        """Take note of the time."""
        ...
