"""Wiring gaps: what is not wired, in a sentence each, and what that forbids."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from etchdaemon.interlocks.inputs import Input, Output


@dataclass(frozen=True, slots=True)
class WiringGap:
    """A part that is not wired; any one of `parts` closes the gap."""

    parts: frozenset[Input | Output]
    sentence: str
    is_attended_only: bool = False
    is_watch_only: bool = False  # nothing can be started at all


WIRING_GAPS: Final = (
    WiringGap(
        frozenset({Input.LID}),
        "No lid contact: the box only watches and starts nothing.",
        is_watch_only=True,
    ),
    WiringGap(
        frozenset({Output.BEAM_ENABLE}),
        "No beam-enable contact: the box cannot put the beam out, so it only watches.",
        is_watch_only=True,
    ),
    WiringGap(
        frozenset({Input.LOOP_CLOSED}),
        "No loop input: whether the beam's contact really opens is not proven, "
        "so somebody stays with every run.",
        is_attended_only=True,
    ),
    WiringGap(
        frozenset({Output.EXTRACTION}),
        "No extraction output: somebody switches the fan on and stays with every run.",
        is_attended_only=True,
    ),
    WiringGap(
        frozenset({Input.AIR_FLOW, Input.PRESSURE_ABOVE_LOW}),
        "No proof of air flow: a dead fan is not noticed, so somebody stays with every run.",
        is_attended_only=True,
    ),
    WiringGap(
        frozenset({Input.FLAME}),
        "No flame or smoke detector: nothing here notices a fire, so somebody stays with every "
        "run.",
        is_attended_only=True,
    ),
    WiringGap(
        frozenset({Input.STOP_CIRCUIT}),
        "No stop circuit input: a stop button must cut the laser by its own wire.",
    ),
    WiringGap(
        frozenset({Input.ARM_BUTTON}),
        "No arm button: opening and closing the lid shows that somebody is there.",
    ),
    WiringGap(
        frozenset({Output.BUZZER}),
        "No buzzer: with every page closed only a webhook or a mail calls somebody.",
    ),
    WiringGap(
        frozenset({Output.HEARTBEAT}),
        "No heartbeat output: if this computer hangs, only the lid contact puts the beam out, so "
        "somebody stays with every run.",
        is_attended_only=True,
    ),
)


def wiring_gaps(wired: Collection[Input | Output]) -> tuple[WiringGap, ...]:
    """Return the gaps of a box with these parts, the gravest first."""
    return tuple(gap for gap in WIRING_GAPS if not gap.parts & set(wired))


def is_attended_only(wired: Collection[Input | Output]) -> bool:
    """Return whether somebody has to stay with every run."""
    return any(gap.is_attended_only for gap in wiring_gaps(wired))


def is_watch_only(wired: Collection[Input | Output]) -> bool:
    """Return whether nothing may be started, and no line sent that moves or burns."""
    return watches_only_because(wired) is not None


def watches_only_because(wired: Collection[Input | Output]) -> str | None:
    """Return why a box with these parts only watches; None for one that may do more."""
    return next((gap.sentence for gap in wiring_gaps(wired) if gap.is_watch_only), None)
