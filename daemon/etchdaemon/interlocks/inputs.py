"""The inputs and outputs of the box, and what one look at the inputs shows."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from etchdaemon.interlocks.clocks import WallSeconds


class Input(StrEnum):
    """A circuit that is read; closed is the good state, so a cut wire reads as the bad one."""

    LID = "lid"
    LID_SECOND = "lid_second"
    AIR_FLOW = "air_flow"
    PRESSURE_ABOVE_LOW = "pressure_above_low"
    PRESSURE_BELOW_HIGH = "pressure_below_high"
    FLAME = "flame"
    STOP_CIRCUIT = "stop_circuit"
    TEMPERATURE = "temperature"
    ARM_BUTTON = "arm_button"
    LOOP_CLOSED = "loop_closed"


# An edge of one of these cuts the beam before anything is read or judged.
CUTS_ON_EDGE: Final = frozenset({Input.LID, Input.LID_SECOND, Input.STOP_CIRCUIT, Input.FLAME})


class Output(StrEnum):
    """A contact or a lamp that is driven; off is the safe state of every one."""

    BEAM_ENABLE = "beam_enable"
    EXTRACTION = "extraction"
    LAMP = "lamp"
    BUZZER = "buzzer"
    HEARTBEAT = "heartbeat"


class Level(NamedTuple):
    """The state of a circuit at one instant; a tuple, because each look makes one an input."""

    is_closed: bool
    at_s: WallSeconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What one look at the board shows.

    `opened` holds the inputs that were open at any time since the look before, however briefly:
    a contact that closed again before it was read has opened all the same.
    """

    levels: Mapping[Input, Level]
    opened: Collection[Input]
    now_s: WallSeconds

    def is_closed(self, name: Input) -> bool | None:
        """Return whether input `name` is closed; None where it could not be read."""
        level = self.levels.get(name)
        return None if level is None else level.is_closed
