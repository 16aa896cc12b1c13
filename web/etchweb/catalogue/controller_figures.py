"""What the connected controller says of a laser's figures, and which laser they fit. Pure."""

from collections.abc import Mapping
from math import isclose
from typing import Final

from etchwire.calls.machine import ControllerSettings
from etchwire.catalogue.heads import Head

# Entry of etchwire.catalogue.heads.Head, and the settings that tell it. Where there is one for
# each axis the smaller counts: a laser's figure holds along both.
_TOLD_BY: Final[Mapping[str, tuple[int, ...]]] = {
    "max_s": (30,),
    "max_feed_mm_per_min": (110, 111),
    "acceleration_mm_per_s2": (120, 121),
    "travel_x_mm": (130,),
    "travel_y_mm": (131,),
}
_LASER_MODE: Final = 32


def controller_figures(settings: ControllerSettings | None) -> dict[str, float]:
    """Return entries of Head by name, as far as the controller tells them: mm, min, s."""
    if settings is None or not settings.is_read:
        return {}
    told = {
        number: value
        for one in settings.settings
        for number, value in zip(one.numbers, one.values, strict=True)
    }
    figures = {}
    for name, numbers in _TOLD_BY.items():
        values = [_figure(told.get(number)) for number in numbers]
        known = [value for value in values if value is not None]
        if len(known) == len(values):
            figures[name] = min(known)
    return figures


def _figure(value: str | None) -> float | None:
    try:
        figure = float(value or "")
    except ValueError:
        return None
    return figure if 0 < figure < float("inf") else None


def laser_mode_trouble(settings: ControllerSettings | None) -> str:
    """Return what the controller's laser mode is missing; nothing where it is on or not known."""
    for one in settings.settings if settings is not None and settings.is_read else ():
        if one.numbers == (_LASER_MODE,) and not one.is_good:
            return one.sentence
    return ""


def fits(head: Head, figures: Mapping[str, float]) -> bool:
    """Return whether a laser's figures are those of the connected controller; no if unknown."""
    return bool(figures) and all(
        isclose(getattr(head, name), figure) for name, figure in figures.items()
    )
