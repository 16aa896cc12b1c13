"""Whether lamp and buzzer are on at one instant."""

from collections.abc import Mapping
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.rules.rule_table import Phase
from etchwire.alert_policy import ALERT_POLICY, Occasion

BLINK_S: Final = 1.0
FLASH_EVERY_S: Final = 2.0
FLASH_S: Final = 0.2


def is_lamp_on(phase: Phase, now_s: WallSeconds, *, is_press_due: bool) -> bool:
    """Return whether the lamp is lit.

    Steady when ready to start, blinking while etching; a short flash asks for the button.
    """
    if phase is Phase.ETCHING:
        return now_s % BLINK_S < BLINK_S / 2
    return phase is Phase.ARMED or (is_press_due and now_s % FLASH_EVERY_S < FLASH_S)


def is_buzzer_on(since_s: Mapping[Occasion, float | None], now_s: WallSeconds) -> bool:
    """Return whether the buzzer sounds; `since_s` says since when each occasion lasts."""
    return any(
        began_s is not None and beep.is_on(since_s=began_s, now_s=now_s)
        for occasion, began_s in since_s.items()
        if (beep := ALERT_POLICY[occasion].beep) is not None
    )
