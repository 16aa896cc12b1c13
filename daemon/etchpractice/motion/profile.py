"""How the speed goes along what is left of one block: up, level, down."""

import math
from typing import Final

_REST_MM: Final = 1e-9


class Profile:
    """A trapezoid of speed from `enter` over at most `nominal` to at most the root of `leave2`."""

    __slots__ = (
        "acceleration", "cruise_s", "done_s", "enter", "first_s", "leave", "left_mm", "length_mm",
        "peak", "total_s",
    )  # fmt: skip

    def __init__(
        self, length_mm: float, acceleration: float, speeds: tuple[float, float, float]
    ) -> None:
        enter, nominal, leave2 = speeds
        enter2 = enter * enter
        gain = 2 * acceleration * length_mm
        if leave2 > enter2 + gain:
            leave2 = enter2 + gain
        elif leave2 < enter2 - gain:
            leave2 = enter2 - gain
        peak2 = (enter2 + leave2 + gain) / 2
        peak2 = min(peak2, nominal * nominal)
        if enter > nominal:  # an override came: down to the new speed first, as far as there is way
            peak2 = max(peak2, enter2 - gain)
        leave2 = min(leave2, peak2)
        peak, leave = math.sqrt(peak2), math.sqrt(leave2)
        first_mm = abs(peak2 - enter2) / (2 * acceleration)
        level_mm = length_mm - first_mm - (peak2 - leave2) / (2 * acceleration)
        self.first_s = abs(peak - enter) / acceleration
        self.cruise_s = level_mm / peak if level_mm > _REST_MM else 0.0
        self.total_s = self.first_s + self.cruise_s + (peak - leave) / acceleration
        self.done_s = 0.0
        self.left_mm = self.length_mm = length_mm
        self.acceleration = acceleration
        self.enter, self.peak, self.leave = enter, peak, leave

    def at(self, since_s: float) -> tuple[float, float]:
        """Return the speed and the way left, `since_s` after the start."""
        left_s = self.total_s - since_s
        slow_s = self.total_s - self.first_s - self.cruise_s
        if left_s <= slow_s:
            speed = self.leave + self.acceleration * left_s
            return speed, (self.leave + speed) / 2 * left_s
        if since_s >= self.first_s:
            return self.peak, (self.peak + self.leave) / 2 * slow_s + self.peak * (left_s - slow_s)
        speed = self.enter + math.copysign(self.acceleration, self.peak - self.enter) * since_s
        return speed, self.length_mm - (self.enter + speed) / 2 * since_s
