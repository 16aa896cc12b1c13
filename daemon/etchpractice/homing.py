"""The homing cycle: to the switches, off them, and a known position."""

from collections.abc import Generator
from typing import TYPE_CHECKING, Final

from etchpractice.states import State

if TYPE_CHECKING:
    from etchpractice.services import Services

_AXES_HOMED: Final = (0, 1)
_GAP_S: Final = 0.25  # reports are answered only between two stretches of the cycle


def home(controller: "Services") -> Generator[float, None, None]:
    """Find the switches of X and Y; they are at the ends that `$23` names, 1 for the low end."""
    settings = controller.settings
    low_ends = int(settings[23])
    place, bed = list(controller.stepper.place), [0.0, 0.0, 0.0]
    for axis in _AXES_HOMED:
        travel, pull_off = settings[130 + axis], settings[27]
        bed[axis] = pull_off if low_ends >> axis & 1 else travel - pull_off
        place[axis] = bed[axis] - travel
    way_mm = max(settings[130], settings[131]) / 2
    left_s = way_mm / settings[25] * 60 + 4 * settings[27] / settings[24] * 60
    controller.state = State.HOME
    while left_s > 0:
        controller.be_busy_until(controller.now_s + min(left_s, _GAP_S))
        yield controller.now_s + min(left_s, _GAP_S)
        left_s -= _GAP_S
    controller.place_at_home((place[0], place[1], place[2]), (bed[0], bed[1], bed[2]))
    controller.state = State.IDLE
