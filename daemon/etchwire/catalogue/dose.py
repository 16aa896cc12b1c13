"""Burn strength while an etch runs: which speed and power give it.

Burn strength is power over speed. It is made by power, and where the laser has no more to give,
by going slower. With dynamic power the beam follows the speed, so both are set together: slower
alone changes nothing there.
"""

from typing import Final

LIGHTEST_PERCENT: Final = 60
DARKEST_PERCENT: Final = 150


def feed_percent(power_ratio: float, strength_percent: int) -> int:
    """Return the speed, in percent of the recipe's, at which the laser can give this strength.

    `power_ratio` is the recipe's, `strength_percent` counts from the recipe's burn strength.
    """
    wanted_ratio = power_ratio * strength_percent / 100
    return 100 if wanted_ratio <= 1 else int(100 / wanted_ratio)
