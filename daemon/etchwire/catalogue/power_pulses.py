"""What a controller's pulses of light do to single dots, said where a recipe is chosen."""

from typing import Final

from etchwire.catalogue.heads import Head, Recipe

_NEARLY_FULL_POWER: Final = 0.95  # from there on the pulses all but touch
_PULSES_OF_A_CALM_DOT: Final = 3
_SECONDS_PER_MINUTE: Final = 60.0


def pulse_note(head: Head, recipe: Recipe) -> str | None:
    """Return the sentence where pulses are about as long as a dot; None where that is no matter.

    Computed from the firmware's registers for 0.1 mm at 4000 mm/min; never seen on a pin.
    """
    pulse_s, dot_mm = head.controller.power_pulse_s, recipe.line_spacing_mm
    if not pulse_s or recipe.power_ratio >= _NEARLY_FULL_POWER:
        return None
    calm_mm_per_min = dot_mm / (_PULSES_OF_A_CALM_DOT * pulse_s) * _SECONDS_PER_MINUTE
    if recipe.feed_mm_per_min <= calm_mm_per_min:
        return None
    dot_ms = dot_mm / recipe.feed_mm_per_min * _SECONDS_PER_MINUTE * 1000
    return (
        f"At part power this controller gives the light in pulses of {pulse_s * 1000:.1f} ms, and "
        f"a single dot lasts {dot_ms:.1f} ms: the light of single dots may scatter by 20 to 30 % "
        "(computed, not measured). Near full power it is calmer, and so it is up to "
        f"{calm_mm_per_min:.0f} mm/min, where a dot lasts three pulses."
    )
