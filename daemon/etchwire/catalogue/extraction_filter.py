"""When the extraction's filter is to be changed: hours of beam, held against the shop's limit.

Paint smokes where it is burnt, so the hours that count are those in which the beam burns: an hour
of a dark picture fills a filter, an hour of a pale one hardly does. How much smoke a paint gives,
and how much a filter holds, nobody has measured here: the limit is the shop's own, and whether
air is drawn is for the airflow interlock to say.
"""

from typing import Final

NEAR_RATIO: Final = 0.9
SECONDS_PER_HOUR: Final = 3600.0


def filter_note(beam_h: float, limit_h: float) -> str:
    """Return what to say of a filter near its limit or past it; empty before, and without one."""
    if not limit_h or beam_h < NEAR_RATIO * limit_h:
        return ""
    if beam_h < limit_h:
        return f"The filter is due soon: {beam_h:.1f} of {limit_h:g} hours of beam are used."
    return f"The filter is past its limit: {beam_h:.1f} hours of beam, the limit is {limit_h:g}."
