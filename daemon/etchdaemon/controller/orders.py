"""The orders of a sequence, as values: the holder of port and contacts carries them out."""

from collections.abc import Sequence as Listed
from dataclasses import dataclass
from enum import Enum, auto
from typing import Protocol, TypeAlias

from etchdaemon.controller.events import Event


class Order(Enum):
    """An order without parameters."""

    CUT_BEAM = auto()
    ALLOW_BEAM = auto()
    DISCARD_OUTPUT = auto()
    REPORT = auto()
    FEED_HOLD = auto()
    JOG_CANCEL = auto()  # only while nothing but jogs was sent: it may empty the receive buffer
    CYCLE_START = auto()
    RESET = auto()


@dataclass(frozen=True, slots=True)
class SendLine:
    """A line to send; its answer is its reply and the lines before that."""

    line: bytes


Orders: TypeAlias = Listed[Order | SendLine]

NOTHING: Orders = ()


class Sequence(Protocol):
    """A procedure in several steps, between a beginning and an outcome.

    It takes events and the time, and returns orders. Times are the machine's monotonic seconds.
    """

    @property
    def polls_every_s(self) -> float | None:
        """The interval of report requests in seconds; None: none."""
        ...

    @property
    def is_over(self) -> bool:
        """Whether it has ended, well or badly."""
        ...

    def begin(self, now_s: float) -> Orders:
        """Return the first orders."""
        ...

    def handle_event(self, event: Event, now_s: float) -> Orders:
        """Return the orders that follow from `event`."""
        ...

    def tick(self, now_s: float) -> Orders:
        """Return the orders that follow from the time alone."""
        ...
