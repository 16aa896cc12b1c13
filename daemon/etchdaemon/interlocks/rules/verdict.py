"""What follows from the interlocks at one instant: for the outputs, and for whoever steers."""

from collections.abc import Mapping
from dataclasses import dataclass

from etchdaemon.interlocks.clocks import MachineSeconds
from etchdaemon.interlocks.inputs import Output
from etchdaemon.interlocks.rules.evaluation import RuleBreach
from etchdaemon.interlocks.rules.latch import Trip
from etchdaemon.interlocks.rules.rule_table import Reaction


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is asked of whoever steers the machine, why, and what is new since it was asked last.

    `opened_at_s` is the first moment since then at which a contact opened that puts the beam out
    by the box's own wiring, before any program has heard of it. `was_unwatched`: nobody looked for
    so long that the heartbeat's contact may have opened, nobody knows when.
    """

    reaction: Reaction
    sentence: str = ""
    new_trips: tuple[Trip, ...] = ()
    breaches: tuple[RuleBreach, ...] = ()
    opened_at_s: MachineSeconds | None = None
    was_unwatched: bool = False


@dataclass(frozen=True, slots=True)
class LookOutcome:
    """What one look asks of the outputs, and its verdict."""

    outputs: Mapping[Output, bool]
    verdict: Verdict
