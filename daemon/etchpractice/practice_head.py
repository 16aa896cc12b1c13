"""What the practice machine is like when nobody says otherwise, and settings that suit a head."""

from typing import Final

from etchpractice.firmware.firmware import Firmware
from etchwire.catalogue.examples import DEFAULT_HEAD, PRACTICE_HEADS, PRACTICE_REGISTER
from etchwire.catalogue.heads import Head

PRACTICE_HEAD: Final = PRACTICE_HEADS[DEFAULT_HEAD]
BEAM_LAG_S: Final = PRACTICE_REGISTER.beam_lag_s
SLACK_MM: Final = PRACTICE_REGISTER.slack_mm


# How the practice machine was set up when it was built, besides what follows from its head.
_SET_UP: Final[dict[int, float]] = {
    1: 255, 23: 3, 24: 300, 25: 3000, 30: 1000, 32: 1,
    100: 80, 101: 80, 102: 80, 112: 1000, 122: 200, 132: 80,
}  # fmt: skip
_REPORTS_THE_BUFFER: Final = 2  # a bit of $10


def settings_of(head: Head, firmware: Firmware) -> dict[int, float]:
    """Return the controller's numbered settings as they suit the machine and its head."""
    return _SET_UP | {
        10: int(firmware.settings[10]) | _REPORTS_THE_BUFFER,
        30: head.max_s,
        110: head.max_feed_mm_per_min, 111: head.max_feed_mm_per_min,
        120: head.acceleration_mm_per_s2, 121: head.acceleration_mm_per_s2,
        130: head.travel_x_mm, 131: head.travel_y_mm,
    }  # fmt: skip
