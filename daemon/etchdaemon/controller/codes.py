"""What the controller's error and alarm numbers mean for the person, and what to do."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Trouble:
    """A number of the controller's, as a sentence for a person."""

    meaning: str
    remedy: str

    def __str__(self) -> str:
        """Return meaning and remedy as two sentences."""
        return f"{self.meaning} {self.remedy}"


_PREPARE: Final = "Prepare the picture again; if it happens again, check the cable."
_SETTINGS: Final = "Check the controller's settings with the maker's program."
_LATER: Final = "Wait until the machine stands still and ask again."
_HOME: Final = "Head position unknown: home the machine, or unlock it and set the origin again."
_HOME_IT: Final = "Head position unknown: home the machine."
_MAKER: Final = "Switch the machine off and on; if it stays, ask its maker."


def _file(what: str) -> Trouble:
    return Trouble(f"The controller could not use a line of the job: {what}.", _PREPARE)


ERRORS: Final[Mapping[int, Trouble]] = {
    1: _file("a letter is missing"),
    2: _file("a number is bad or missing"),
    3: Trouble("The controller does not know a question it was asked.", _MAKER),
    4: _file("a value is negative that may not be"),
    5: Trouble("Homing is switched off in the controller.", _SETTINGS),
    6: Trouble("The step pulse is set too short.", _SETTINGS),
    7: Trouble("The controller lost its settings and took its maker's defaults.", _SETTINGS),
    8: Trouble("The controller does this only at rest.", _LATER),
    9: Trouble("The controller is locked.", _HOME),
    10: Trouble("Soft limits are on but homing is off.", _SETTINGS),
    11: _file("it is too long"),
    12: Trouble("A speed setting asks for more steps than the controller can make.", _SETTINGS),
    13: Trouble("The lid is open.", "Close it and start again."),
    14: Trouble("A line stored in the controller is too long.", _SETTINGS),
    15: Trouble("The move would leave the machine's travel.", "Move less far."),
    16: Trouble("The controller could not use a move by hand.", _MAKER),
    17: Trouble("Laser mode needs a controller that can vary the beam.", _MAKER),
    20: _file("it has a code that this controller does not know"),
    21: _file("two codes exclude each other"),
    22: _file("no speed was set"),
    23: _file("a code is not a whole number"),
    24: _file("two codes want the same axes"),
    25: _file("a word stands twice"),
    26: _file("axis words are missing"),
    27: _file("its number is too large"),
    28: _file("a value is missing"),
    29: _file("that origin does not exist"),
    30: _file("machine coordinates need a straight move"),
    31: _file("axis words have no use"),
    32: _file("an arc has no axis"),
    33: _file("an arc's end does not fit"),
    34: _file("an arc's radius does not fit"),
    35: _file("an arc's centre is missing"),
    36: _file("words have no use"),
    37: _file("a tool length is set for the wrong axis"),
    38: _file("the tool number is too large"),
}

THIRTY_TWO_BIT_ERRORS: Final[Mapping[int, Trouble]] = {
    18: Trouble("The controller was reset meanwhile.", "Start again."),
    19: Trouble("A setting must be above zero.", _SETTINGS),
    39: _file("a value is out of range"),
    40: Trouble("The controller waits for a tool change.", _MAKER),
    41: Trouble("The controller thinks that the beam is not on.", _SETTINGS),
    42: _file("the plane does not fit"),
    43: _file("the speed is above the machine's limit"),
    44: _file("the power is out of range"),
    45: Trouble("The machine stands on a limit switch.", "Free it by hand, then home it."),
    46: Trouble("The machine has to be homed first.", _HOME_IT),
    47: _file("the tool does not fit"),
    48: _file("two values contradict each other"),
    49: Trouble("The controller's self test failed.", _MAKER),
    50: Trouble("The controller's stop circuit is open.", "Release the stop button, then reset."),
    51: Trouble("A motor driver reports a fault.", _MAKER),
    52: Trouble("A setting is out of range.", _SETTINGS),
    53: Trouble("A setting does not exist in this controller.", _SETTINGS),
    54: _file("a retract does not fit"),
    55: Trouble("Homing is set up wrongly.", _SETTINGS),
    56: Trouble("The origin is locked.", _SETTINGS),
    57: _file("a program mark stands in the wrong place"),
    58: _file("a port does not exist"),
    70: Trouble("The controller's radio failed.", _MAKER),
    77: Trouble("The controller wants a password.", _SETTINGS),
    78: Trouble("The controller refused a password.", _SETTINGS),
    79: Trouble("The controller met a critical event.", _MAKER),
    86: _file("a port does not exist"),
    **dict.fromkeys((60, 61, 62, 63, 64, 65, 66, 84, 85, 89), _file("a card file cannot be used")),
    **dict.fromkeys((71, 72, 73, 74, 75, 76), _file("a formula does not work out")),
    **dict.fromkeys((80, 81, 82, 83), _file("a branch or loop does not work out")),
    **dict.fromkeys((87, 88), _file("the tool does not fit")),
    **dict.fromkeys((90, 91, 92), _file("cutter compensation does not work here")),
    253: Trouble("The controller was told to report a fault.", _MAKER),
}

ALARMS: Final[Mapping[int, Trouble]] = {
    1: Trouble("The head ran onto a limit switch.", _HOME),
    2: Trouble("The job would have left the machine's travel.", "Set the origin further in."),
    3: Trouble("The controller was reset while moving.", _HOME),
    4: Trouble("The probe was in the wrong state.", _HOME),
    5: Trouble("The probe touched nothing.", _HOME),
    6: Trouble("Homing was broken off by a reset.", _HOME),
    7: Trouble("The lid was opened while homing.", "Close it and home again."),
    8: Trouble("Homing could not leave the limit switch.", _SETTINGS),
    9: Trouble("Homing found no limit switch.", _SETTINGS),
}
# What ends in a restart, by itself or by our reset; both firmwares number these alike.
RESTARTING_ALARMS: Final = frozenset((1, 2, 3, 6, 7, 8, 9))
EIGHT_BIT_ALARMS: Final[Mapping[int, Trouble]] = {
    10: Trouble("Homing did not find the second switch of an axis.", _SETTINGS),
}
THIRTY_TWO_BIT_ALARMS: Final[Mapping[int, Trouble]] = {
    10: Trouble("The stop circuit is open.", "Release the stop button, then reset and home."),
    11: Trouble("The machine has to be homed first.", _HOME_IT),
    12: Trouble("The head stands on a limit switch.", "Free it by hand, then home."),
    13: Trouble("The probe is not free.", _HOME),
    14: Trouble("The laser did not report that it was ready.", _SETTINGS),
    15: Trouble("Homing did not find the second switch of an axis.", _SETTINGS),
    16: Trouble("The controller's self test failed.", _MAKER),
    17: Trouble("A motor driver reports a fault.", _MAKER),
    18: Trouble("Homing is set up wrongly.", _SETTINGS),
    19: Trouble("The controller's field bus failed.", _MAKER),
    20: Trouble("The controller's expander failed.", _MAKER),
    21: Trouble("The controller's memory failed.", _MAKER),
    22: Trouble("The controller's receive buffer ran over.", "Check the cable, then start again."),
}


def unknown_error(code: int) -> Trouble:
    """Return what is said of an error number that no table has."""
    return Trouble(f"The controller reported error {code}, which we do not know.", _MAKER)


def unknown_alarm(code: int) -> Trouble:
    """Return what is said of an alarm number that no table has."""
    return Trouble(f"The controller raised alarm {code}, which we do not know.", _HOME)
