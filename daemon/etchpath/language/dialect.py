"""The words the controller knows, as tables: which group each belongs to and what we think of it.

The modal groups are those of RS-274/NGC (NISTIR 6556, section 3.4); the codes are the ones the
firmware takes. A code that stands in neither table is refused by the controller.
"""

from dataclasses import dataclass
from enum import IntEnum, IntFlag
from typing import Final


class Number(IntEnum):
    """Rows of the table of numbers that the lines of a file give; not a number means not given."""

    X = 0
    Y = 1
    I = 2  # noqa: E741 - the letter of the word
    J = 3
    R = 4
    S = 5
    F = 6
    DWELL_S = 7


class Mode(IntEnum):
    """Rows of the table of modes that the lines of a file set; NOT_SET means left as it was."""

    MOTION = 0
    DISTANCE = 1
    UNITS = 2
    SPINDLE = 3


NOT_SET: Final = -1
RAPID: Final = 0
FIRST_ARC: Final = 2
NO_MOTION: Final = 80
INCH: Final = 20
MILLIMETRE: Final = 21
ABSOLUTE: Final = 90
CONSTANT_POWER: Final = 3
BEAM_OFF: Final = 5


class Event(IntFlag):
    """What a line does besides moving and setting modes."""

    STOPS = 1  # the head comes to rest before the line is done
    ENDS = 2  # end of program
    SETS_ORIGIN = 4
    CLEARS_ORIGIN = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """One G or M code: its modal group, the mode it sets, what it does, and our remark on it."""

    group: str
    mode: Mode | None = None
    event: int = 0  # Event flags
    uses_axes: bool = False
    remark: str | None = None


def _motion(remark: str | None = None) -> Code:
    return Code(group="motion", mode=Mode.MOTION, remark=remark)


# Keyed by ten times the number, as codes have one decimal at most.
G_CODES: Final = {
    0: _motion(),
    10: _motion(),
    20: _motion(),
    30: _motion(),
    800: _motion(),
    382: _motion("probing"),
    383: _motion("probing"),
    384: _motion("probing"),
    385: _motion("probing"),
    170: Code(group="plane"),
    180: Code(group="plane", remark="other plane"),
    190: Code(group="plane", remark="other plane"),
    900: Code(group="distance", mode=Mode.DISTANCE),
    910: Code(group="distance", mode=Mode.DISTANCE),
    911: Code(group="arc distance"),
    930: Code(group="feed mode", remark="inverse time"),
    940: Code(group="feed mode"),
    200: Code(group="units", mode=Mode.UNITS),
    210: Code(group="units", mode=Mode.UNITS),
    400: Code(group="radius compensation"),
    431: Code(group="tool length", uses_axes=True, remark="tool length"),
    490: Code(group="tool length"),
    540: Code(group="coordinates"),
    550: Code(group="coordinates", remark="another origin"),
    560: Code(group="coordinates", remark="another origin"),
    570: Code(group="coordinates", remark="another origin"),
    580: Code(group="coordinates", remark="another origin"),
    590: Code(group="coordinates", remark="another origin"),
    610: Code(group="path"),
    40: Code(group="once", event=int(Event.STOPS)),
    100: Code(group="once", uses_axes=True, remark="memory writing"),
    280: Code(group="once", uses_axes=True, remark="machine move"),
    281: Code(group="once", remark="memory writing"),
    300: Code(group="once", uses_axes=True, remark="machine move"),
    301: Code(group="once", remark="memory writing"),
    530: Code(group="once", remark="machine move"),
    920: Code(group="once", uses_axes=True, event=int(Event.SETS_ORIGIN), remark="origin shift"),
    921: Code(group="once", event=int(Event.CLEARS_ORIGIN), remark="origin shift"),
}

M_CODES: Final = {
    0: Code(group="stopping", event=int(Event.STOPS), remark="pause"),
    10: Code(group="stopping", remark="pause"),
    20: Code(group="stopping", event=int(Event.STOPS | Event.ENDS)),
    300: Code(group="stopping", event=int(Event.STOPS | Event.ENDS)),
    30: Code(group="spindle", mode=Mode.SPINDLE),
    40: Code(group="spindle", mode=Mode.SPINDLE),
    50: Code(group="spindle", mode=Mode.SPINDLE),
    80: Code(group="coolant", event=int(Event.STOPS), remark="coolant"),
    90: Code(group="coolant", event=int(Event.STOPS)),
}

GROUPS: Final = tuple(dict.fromkeys(code.group for code in (*G_CODES.values(), *M_CODES.values())))

# Where the usual build refuses what people expect, the remark says more than "unsupported".
REFUSED_CODES: Final[dict[str, dict[int, str]]] = {"G": {}, "M": {60: "tool change", 70: "mist"}}

# What the end of a program sets, whatever else stands in its line.
PROGRAM_END_MODES: Final = {Mode.MOTION: 1, Mode.DISTANCE: ABSOLUTE, Mode.SPINDLE: BEAM_OFF}

VALUE_LETTERS: Final = frozenset("FIJKLNPRSTXYZ")
NEVER_NEGATIVE: Final = frozenset("FNPST")
MAX_LINE_NUMBER: Final = 9_999_999
LARGEST_NUMBER: Final = 3.4028234e38  # the controller counts in single precision (IEEE 754)
