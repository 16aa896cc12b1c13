"""What lamp and buzzer show at one instant."""

from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.rules import Phase, Reaction

BLINK_S: Final = 1.0
TRIP_BEEPS_FOR_S: Final = 10.0
ROUND_BEEP_EVERY_S: Final = 2.0


def is_lamp_on(phase: Phase, now_s: WallSeconds) -> bool:
    """Return whether the lamp is lit: steady when ready to start, blinking while etching."""
    if phase is Phase.ETCHING:
        return now_s % BLINK_S < BLINK_S / 2
    return phase is Phase.ARMED


def is_buzzer_on(
    reaction: Reaction, *, tripped_for_s: float, is_round_asking: bool, now_s: WallSeconds
) -> bool:
    """Return whether the buzzer sounds: in an emergency until reset, after a trip only briefly."""
    if reaction is Reaction.EMERGENCY:
        return now_s % 0.5 < 0.25
    if reaction > Reaction.FORBID and tripped_for_s < TRIP_BEEPS_FOR_S:
        return now_s % 1.0 < 0.5
    return is_round_asking and now_s % ROUND_BEEP_EVERY_S < 0.2
