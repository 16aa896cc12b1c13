"""The values of the parts in the wiring drawing, and the pins that `configure` proposes."""

import re
from typing import Final

from etchwarden.configuring.entries import SECTIONS

# Header pins of the 40-pin header by GPIO number (from memory).
HEADER_PINS: Final = {
    12: 32, 13: 33, 16: 36, 17: 11, 18: 12, 19: 35, 20: 38, 21: 40, 22: 15, 23: 16, 24: 18,
    25: 22, 26: 37, 27: 13,
}  # fmt: skip

SUPPLY_V: Final = 24.0
LOGIC_V: Final = 3.3
LED_V: Final = 1.2  # across an isolator's light at a few milliamperes
PULL_OHM: Final = 10_000
INPUT_OHM: Final = 4_700
# The read-back's resistor by the voltage of the laser's loop.
LOOP_OHM: Final = {5: 1_000, 12: 2_200, 24: 4_700}
# Contacts straight at the pin, without an isolator: in series with it, and from it to 0 V.
DIRECT_SERIES_OHM: Final = 330
DIRECT_PULL_OHM: Final = 2_200
# The monostable: t = 0.7 R C for the 4538 of the 74HC family (from memory; measured when it is
# first switched on).
MONOSTABLE_OHM: Final = 430_000
MONOSTABLE_F: Final = 1e-6
NOMINAL_S: Final = 0.7 * MONOSTABLE_OHM * MONOSTABLE_F
BLEEDER_OHM: Final = 1_000
RUN_ON_S: Final = 120


def pin_of(table: str, name: str) -> int:
    """Return the GPIO number that `configure` proposes for a contact."""
    section = next(section for section in SECTIONS if section.name == table)
    entry = next(entry for entry in section.entries if entry.name == name)
    return int(re.sub(r"\D", "", entry.example))


def names_of(table: str) -> list[str]:
    """Return the names of the contacts of a table, in the order of the file."""
    return [
        entry.name for section in SECTIONS if section.name == table for entry in section.entries
    ]


def kilo(ohm: float) -> str:
    """Return a resistance as it is written on a drawing."""
    return f"{ohm / 1000:g} kΩ" if ohm >= 1000 else f"{ohm:g} Ω"
