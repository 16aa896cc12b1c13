"""The connected controller described, for preflight and record: by its answers, not by belief."""

from typing import Final

from etchdaemon.controller.facts import Facts
from etchdaemon.controller.firmware import THIRTY_TWO_BIT
from etchwire.bed import Bed
from etchwire.catalogue.heads import Head
from etchwire.controller.profile import LineCosts

BAUD: Final = 115200

# What the preflight calls it, and the controller's setting.
_SETTINGS: Final = {
    "max_s": 30,
    "junction_deviation_mm": 11,
    "arc_tolerance_mm": 12,
    "steps_per_mm": 100,
    "max_feed_x_mm_per_min": 110,
    "max_feed_y_mm_per_min": 111,
    "acceleration_x_mm_per_s2": 120,
    "acceleration_y_mm_per_s2": 121,
    "travel_x_mm": 130,
    "travel_y_mm": 131,
}


def machine_table(facts: Facts, head: Head, bed: Bed | None, costs: LineCosts) -> dict[str, object]:
    """Return the description; what the controller does not say is the head's.

    Where the origin lies in the travel only a homed machine knows, by its `bed`.
    """
    table: dict[str, object] = {
        "max_s": head.max_s,
        "max_feed_x_mm_per_min": head.max_feed_mm_per_min,
        "max_feed_y_mm_per_min": head.max_feed_mm_per_min,
        "acceleration_x_mm_per_s2": head.acceleration_mm_per_s2,
        "acceleration_y_mm_per_s2": head.acceleration_mm_per_s2,
        "travel_x_mm": head.travel_x_mm,
        "travel_y_mm": head.travel_y_mm,
        "baud": BAUD,
        "costs": costs.to_table(),
    }
    for name, setting in _SETTINGS.items():
        value = facts.settings.number(setting)
        if value is not None:
            table[name] = value
    is_homed = bed is not None and bed.is_homed
    table["is_homed"] = is_homed
    if bed is not None and is_homed:
        table["origin_x_mm"] = max(-bed.left_mm, 0.0)
        table["origin_y_mm"] = max(-bed.bottom_mm, 0.0)
    if facts.build is not None:
        table["planner_blocks"] = facts.build.planner_blocks
        table["receive_bytes"] = facts.build.receive_bytes
    if facts.firmware is not None:
        table["line_limit"] = facts.firmware.line_limit_characters
        table["line_limit_counts_all"] = facts.firmware is THIRTY_TWO_BIT
    return table


def notes_of(facts: Facts) -> dict[str, object]:
    """Return what is worth remembering of the controller that ran a job."""
    return {
        "firmware": facts.firmware.name if facts.firmware is not None else None,
        "greeting": facts.greeting,
        "version": facts.version,
        "planner_blocks": facts.build.planner_blocks if facts.build is not None else None,
        "settings": {str(number): value for number, value in facts.settings.values.items()},
        "origins_mm": {name: list(place) for name, place in facts.origins_mm.items()},
    }
