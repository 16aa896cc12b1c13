"""The controller's numbered settings: reading, listing, and what it refuses."""

from collections.abc import Iterator, Mapping
from typing import Final

UNKNOWN, NEGATIVE, SHORT_PULSE, NEEDS_HOMING = 3, 4, 6, 10
_WHOLE: Final = frozenset((0, 1, 2, 3, 4, 5, 6, 10, 13, 20, 21, 22, 23, 26, 32, 63, 398))
_LEAST_PULSE_US: Final = 3


class Settings(dict[int, float]):
    """Setting numbers and their values, in number order."""

    def lines(self) -> Iterator[str]:
        """Yield the settings as `$$` lists them."""
        for number in sorted(self):
            yield f"${number}={self._text(number)}"

    def _text(self, number: int) -> str:
        return f"{self[number]:.0f}" if number in _WHOLE else f"{self[number]:.3f}"

    def store(self, number: int, value: float) -> int:
        """Set a value and return 0, or return why it is refused."""
        if value < 0:
            return NEGATIVE
        if number not in self:
            return UNKNOWN
        if number == 0 and value < _LEAST_PULSE_US:
            return SHORT_PULSE
        if number == 20 and value and not self[22]:
            return NEEDS_HOMING
        self[number] = float(int(value)) if number in _WHOLE else value
        if number == 22 and not value:
            self[20] = 0.0
        return 0

    @classmethod
    def of(cls, *tables: Mapping[int, float]) -> "Settings":
        """Merge `tables`, later ones first in force."""
        merged: dict[int, float] = {}
        for table in tables:
            merged |= table
        return cls({number: float(merged[number]) for number in sorted(merged)})
