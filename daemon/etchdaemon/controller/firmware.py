"""The two firmwares we know, and in what they differ."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from etchdaemon.controller import codes
from etchdaemon.controller.codes import Trouble


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Firmware:
    """One kind of controller firmware."""

    name: str
    greeting: re.Pattern[str]
    line_limit_characters: int
    errors: Mapping[int, Trouble]
    alarms: Mapping[int, Trouble]

    def error(self, code: int) -> Trouble:
        """Return what `error:code` means here; an unknown code is an error all the same."""
        return self.errors.get(code) or codes.unknown_error(code)

    def alarm(self, code: int) -> Trouble:
        """Return what alarm `code` means here; the numbers differ between the firmwares."""
        return self.alarms.get(code) or codes.unknown_alarm(code)


EIGHT_BIT: Final = Firmware(
    name="8-bit, 1.1",
    greeting=re.compile(r"Grbl +1\.1[a-z]"),
    line_limit_characters=79,
    errors=codes.ERRORS,
    alarms={**codes.ALARMS, **codes.EIGHT_BIT_ALARMS},
)
THIRTY_TWO_BIT: Final = Firmware(
    name="32-bit, 1.1",
    greeting=re.compile(r"[Gg]rblHAL +1\.1[a-z]"),
    line_limit_characters=255,  # it counts blanks and comments too, and refuses at 256
    errors={**codes.ERRORS, **codes.THIRTY_TWO_BIT_ERRORS},
    alarms={**codes.ALARMS, **codes.THIRTY_TWO_BIT_ALARMS},
)
KNOWN: Final = (EIGHT_BIT, THIRTY_TWO_BIT)

# The first line after a start, of any version and kind.
GREETING: Final = re.compile(r"Grbl(HAL)? +\d+\.\d+[a-z].*", re.IGNORECASE)


def which_firmware(greeting: str) -> Firmware | None:
    """Return the firmware that greets like this, or None for one we do not know."""
    return next((kind for kind in KNOWN if kind.greeting.match(greeting)), None)
