"""Single bytes that the controller obeys at once, ahead of every line."""

from collections.abc import Mapping
from typing import Final

REPORT: Final = b"?"
FEED_HOLD: Final = b"!"
CYCLE_START: Final = b"~"
RESET: Final = b"\x18"
JOG_CANCEL: Final = b"\x85"

# Override bytes that follow more closely merge in the firmware: space them and read them back.
OVERRIDE_SPACING_S: Final = 0.05

FEED_STEPS: Final = {10: b"\x91", -10: b"\x92", 1: b"\x93", -1: b"\x94"}
POWER_STEPS: Final = {10: b"\x9a", -10: b"\x9b", 1: b"\x9c", -1: b"\x9d"}

LOWEST_PERCENT: Final = 10
HIGHEST_PERCENT: Final = 200


def override_steps(
    *, now_percent: int, requested_percent: int, steps: Mapping[int, bytes]
) -> list[bytes]:
    """Return the fewest bytes that take an override from one percentage to the other."""
    requested_percent = min(max(requested_percent, LOWEST_PERCENT), HIGHEST_PERCENT)
    difference = requested_percent - now_percent
    sign = 1 if difference > 0 else -1
    tens, ones = divmod(abs(difference), 10)
    return [steps[10 * sign]] * tens + [steps[sign]] * ones
