"""The controller's states and alarms, by its own names and numbers."""

from enum import Enum, IntEnum, auto
from typing import Final


class State(Enum):
    """What the controller says it is doing."""

    IDLE = "Idle"
    RUN = "Run"
    HOLD = "Hold"
    DOOR = "Door"
    JOG = "Jog"
    HOME = "Home"
    ALARM = "Alarm"
    CHECK = "Check"
    SLEEP = "Sleep"


MOVING: Final = frozenset((State.RUN, State.HOLD, State.DOOR, State.JOG, State.HOME))


class Alarm(IntEnum):
    """Why the controller locked itself; numbers up to 9 are the same in both firmwares."""

    HARD_LIMIT = 1
    SOFT_LIMIT = 2
    RESET_IN_MOTION = 3
    PROBE_STATE = 4
    NO_CONTACT = 5
    HOMING_RESET = 6
    HOMING_DOOR = 7
    HOMING_PULL_OFF = 8
    HOMING_NO_SWITCH = 9


ONLY_RESET_HELPS: Final = frozenset((1, 2))
ONLY_RESET_HELPS_32_BIT: Final = frozenset((1, 2, 10, 17, 20))


class DoorStep(IntEnum):
    """How far the door's sequence has come, by the number after `Door:`."""

    READY = 0
    OPEN = 1
    BRAKING = 2
    RESTORING = 3


class RestartPhase(Enum):
    """How far a restart has come; NONE while the controller runs."""

    NONE = auto()
    ALARM = auto()  # an alarm is to be told
    LOCKED = auto()  # nothing but a reset helps, which is to be told
    DEAD = auto()  # it has been told
    GREETING = auto()
