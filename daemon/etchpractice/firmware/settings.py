"""The controller's numbered settings: reading, listing, and what it refuses."""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from etchpractice.firmware.firmware import Firmware

NEGATIVE, SHORT_PULSE, NEEDS_HOMING, OUT_OF_RANGE = 4, 6, 10, 52
_LEAST_PULSE_US: Final = 3


class Settings(dict[int, float]):
    """Setting numbers and their values, in number order, as `firmware` keeps them."""

    def __init__(self, firmware: "Firmware", changed: Mapping[int, float]) -> None:
        values = firmware.settings | {number: float(value) for number, value in changed.items()}
        super().__init__({number: values[number] for number in sorted(values)})
        self._firmware = firmware

    def lines(self) -> Iterator[str]:
        """Yield the settings as `$$` lists them."""
        for number in self:
            yield self.line(number)

    def line(self, number: int) -> str:
        """Return one setting as it is listed, with as many decimals as its factory value has."""
        decimals = len(self._firmware.factory[number].partition(".")[2])
        return f"${number}={self[number]:.{decimals}f}"

    def store(self, number: int, value: float) -> int:
        """Set a value and return 0, or return why it is refused."""
        firmware = self._firmware
        if value < 0:
            return NEGATIVE
        if number not in self:
            return firmware.unknown_setting_error
        if number == 0 and value < _LEAST_PULSE_US and firmware.refuses_short_pulses:
            return SHORT_PULSE
        if value > firmware.highest_settings.get(number, value):
            return OUT_OF_RANGE
        if number == 20 and value and not self[22]:
            return NEEDS_HOMING
        if number in firmware.switches:
            value = float(bool(value))
        self[number] = value if "." in firmware.factory[number] else float(int(value))
        if number == 22 and not value:
            self[20] = 0.0
        return 0
