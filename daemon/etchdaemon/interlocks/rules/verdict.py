"""What follows from the interlocks at one instant: for the outputs, and for the serial loop."""

from collections.abc import Mapping
from dataclasses import dataclass

from etchdaemon.interlocks.clocks import MachineSeconds
from etchdaemon.interlocks.inputs import Output
from etchdaemon.interlocks.rules.evaluation import RuleBreach
from etchdaemon.interlocks.rules.latch import Trip
from etchdaemon.interlocks.rules.rule_table import Reaction


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the serial loop has to do with the machine, and why.

    `new_trips` and `opened_at_s` are news since the last verdict that the loop took. `opened_at_s`
    is the first moment at which a contact opened that cuts the beam by the box's own wiring, before
    any program reads it. `was_unwatched`: the last look is so long ago that the heartbeat's contact
    may have opened at an unknown moment.
    """

    reaction: Reaction
    sentence: str = ""
    new_trips: tuple[Trip, ...] = ()
    breaches: tuple[RuleBreach, ...] = ()
    opened_at_s: MachineSeconds | None = None
    was_unwatched: bool = False


@dataclass(frozen=True, slots=True)
class LookOutcome:
    """The levels of the outputs that follow from one look, in the order of driving; its verdict."""

    outputs: Mapping[Output, bool]
    verdict: Verdict
