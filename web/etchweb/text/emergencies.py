"""What to do first in an emergency: one table, for the page and for alerts.

Usual cautions, common practice, no source. They replace neither local fire rules nor a person who
knows the machine.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final

from etchwire.calls.interlock_report import TripView

LOCAL_RULES_FIRST: Final = (
    "Local fire rules and the emergency services come first. This page is software: it replaces no "
    "person and no fire alarm."
)


@dataclass(frozen=True, slots=True)
class Emergency:
    """What has happened, in a few words, and the three things to do, the first first."""

    title: str
    steps: tuple[str, str, str]


# By the name of the interlock; the gravest first.
EMERGENCIES: Final = {
    "no flame or smoke": Emergency(
        "Fire or smoke in the box",
        (
            "Cut the mains supply, if you can reach it safely. Keep the lid shut: air feeds fire.",
            "Warn everyone and call the fire service. Leave if it spreads or the smoke is thick.",
            "Use an extinguisher only if you know how and the way out is behind you.",
        ),
    ),
    "loop open when off": Emergency(
        "The laser may be live",
        (
            "Cut the laser’s mains supply now.",
            "Keep the lid shut and eyewear on until the supply is off.",
            "Leave it off until a qualified person has tested the contacts: one may be welded.",
        ),
    ),
    "controller obeys": Emergency(
        "The machine does not obey",
        (
            "Cut the laser’s mains supply now.",
            "Keep the lid shut and eyewear on until the supply is off and the head stands still.",
            "Find the cause, then switch the controller off and on.",
        ),
    ),
    "stop circuit closed": Emergency(
        "The stop button was pressed",
        (
            "If somebody is hurt, call the emergency services first.",
            "Ask who pressed it and why, and put that right.",
            "Release the stop button only then.",
        ),
    ),
}
OTHER_EMERGENCY: Final = Emergency(
    "Emergency at the machine",
    (
        "Cut the laser’s mains supply.",
        "Keep the lid shut and eyewear on until the supply is off.",
        "Find the cause before anybody resets it.",
    ),
)


def is_emergency(trip: TripView) -> bool:
    """Return whether `trip` is one."""
    return trip.reaction == "emergency"


def gravest_of(trips: Iterable[TripView]) -> Emergency | None:
    """Return what to show first of these trips, or None where none is an emergency."""
    names = [trip.name for trip in trips if is_emergency(trip)]
    return _gravest(names) if names else None


def _gravest(names: Collection[str]) -> Emergency:
    return next((EMERGENCIES[name] for name in EMERGENCIES if name in names), OTHER_EMERGENCY)
