"""The controller's settings, by what they mean to a laser."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from etchdaemon.controller.report import parse_number


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings that the controller has reported, by their numbers."""

    values: Mapping[int, str] = field(default_factory=dict)

    def number(self, setting: int) -> float | None:
        """Return the value of `setting`, or None when it is missing or no number."""
        try:
            return parse_number(self.values[setting])
        except (KeyError, ValueError):
            return None

    @property
    def is_laser_mode(self) -> bool:
        """Whether the beam goes dark whenever the head does not move as told (setting 32)."""
        return self.number(32) == 1

    @property
    def is_in_inches(self) -> bool:
        """Whether reports come in inches (setting 13)."""
        return self.number(13) != 0

    @property
    def max_s(self) -> float | None:
        """The power word that means full power (setting 30)."""
        return self.number(30)

    @property
    def releases_motors_at_rest(self) -> bool:
        """Whether the motors let go between moves (setting 1; 255 is never)."""
        return self.number(1) != 255

    @property
    def reports_buffers(self) -> bool:
        """Whether reports say how full the planner is (setting 10, bit 1)."""
        mask = self.number(10)
        return mask is not None and bool(int(mask) & 2)

    @property
    def can_home(self) -> bool:
        """Whether the machine has switches to home by (setting 22)."""
        return (self.number(22) or 0) != 0

    @property
    def max_feed_mm_per_min(self) -> float | None:
        """The speed that x is clipped to, without notice (setting 110)."""
        return self.number(110)

    @property
    def acceleration_mm_per_s2(self) -> float | None:
        """The acceleration of x (setting 120)."""
        return self.number(120)

    @property
    def travel_mm(self) -> tuple[float | None, float | None]:
        """The travel of x and y (settings 130 and 131)."""
        return self.number(130), self.number(131)
