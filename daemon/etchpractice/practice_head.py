"""What the practice machine is like when nobody says otherwise, and settings that suit a head."""

from typing import Final

from etchwire.craft import Head
from etchwire.examples import DEFAULT_HEAD, PRACTICE_HEADS, PRACTICE_REGISTER

PRACTICE_HEAD: Final = PRACTICE_HEADS[DEFAULT_HEAD]
BEAM_LAG_S: Final = PRACTICE_REGISTER.beam_lag_s
SLACK_MM: Final = PRACTICE_REGISTER.slack_mm


def settings_of(head: Head) -> dict[int, float]:
    """Return the controller's numbered settings that follow from the head."""
    return {
        30: head.max_s,
        110: head.max_feed_mm_per_min, 111: head.max_feed_mm_per_min,
        120: head.acceleration_mm_per_s2, 121: head.acceleration_mm_per_s2,
        130: head.travel_x_mm, 131: head.travel_y_mm,
    }  # fmt: skip
