"""The states of an etch as a table; a pair that is missing there is a refusal."""

from collections.abc import Mapping
from enum import Enum
from typing import Final

from etchdaemon.errors import CommandRefused


class State(Enum):
    """The state of job and run."""

    STARTING = "starting"  # the machine has not been looked at yet
    IDLE = "idle"
    LOADED = "loaded"
    ARMED = "armed"
    ETCHING = "etching"
    HOLDING = "holding"
    HELD = "held"  # only at confirmed rest
    RESUMING = "resuming"
    STOPPING = "stopping"
    ENDED = "ended"


class Command(Enum):
    """What a person may ask for."""

    LOAD = "load"
    UNLOAD = "unload"
    START = "start"
    HOLD = "hold"
    HOLD_NOW = "hold_now"
    RESUME = "resume"
    STOP = "stop"


class RunOccurrence(Enum):
    """What happens to an etch without a command."""

    MACHINE_SEEN = "machine seen"
    ARMED = "armed"
    DISARMED = "disarmed"
    CAME_TO_REST = "came to rest"
    MOVED_ON = "moved on"
    FAULT_FOUND = "fault found"  # and the machine is being stopped for it
    RUN_ENDED = "run ended"


NEXT_STATE: Final[Mapping[tuple[State, Command | RunOccurrence], State]] = {
    (State.STARTING, RunOccurrence.MACHINE_SEEN): State.IDLE,
    (State.STARTING, Command.LOAD): State.LOADED,
    (State.IDLE, Command.LOAD): State.LOADED,
    (State.LOADED, Command.LOAD): State.LOADED,
    (State.LOADED, Command.UNLOAD): State.IDLE,
    (State.LOADED, RunOccurrence.ARMED): State.ARMED,
    (State.ARMED, RunOccurrence.DISARMED): State.LOADED,
    (State.ARMED, Command.LOAD): State.LOADED,
    (State.ARMED, Command.UNLOAD): State.IDLE,
    (State.ARMED, Command.START): State.ETCHING,
    (State.ETCHING, Command.HOLD): State.HOLDING,
    (State.ETCHING, Command.HOLD_NOW): State.HOLDING,
    (State.ETCHING, Command.STOP): State.STOPPING,
    (State.ETCHING, RunOccurrence.FAULT_FOUND): State.STOPPING,
    (State.ETCHING, RunOccurrence.RUN_ENDED): State.ENDED,
    (State.HOLDING, Command.HOLD_NOW): State.HOLDING,
    (State.HOLDING, Command.STOP): State.STOPPING,
    (State.HOLDING, RunOccurrence.CAME_TO_REST): State.HELD,
    (State.HOLDING, RunOccurrence.FAULT_FOUND): State.STOPPING,
    (State.HOLDING, RunOccurrence.RUN_ENDED): State.ENDED,
    (State.HELD, Command.RESUME): State.RESUMING,
    (State.HELD, Command.STOP): State.STOPPING,
    (State.HELD, RunOccurrence.FAULT_FOUND): State.STOPPING,
    (State.HELD, RunOccurrence.RUN_ENDED): State.ENDED,
    (State.RESUMING, Command.STOP): State.STOPPING,
    (State.RESUMING, RunOccurrence.MOVED_ON): State.ETCHING,
    (State.RESUMING, RunOccurrence.FAULT_FOUND): State.STOPPING,
    (State.RESUMING, RunOccurrence.RUN_ENDED): State.ENDED,
    (State.STOPPING, Command.STOP): State.STOPPING,
    (State.STOPPING, RunOccurrence.FAULT_FOUND): State.STOPPING,
    (State.STOPPING, RunOccurrence.RUN_ENDED): State.ENDED,
    (State.ENDED, Command.LOAD): State.LOADED,
    (State.ENDED, Command.UNLOAD): State.IDLE,
    (State.ENDED, RunOccurrence.ARMED): State.ARMED,
}

# A run is under way: its record is open and the controller is ours.
UNDER_WAY: Final = (State.ETCHING, State.HOLDING, State.HELD, State.RESUMING, State.STOPPING)

# The head moves on the run's word; while it is stopped, only if it moved before.
MOVING: Final = (State.ETCHING, State.HOLDING, State.RESUMING)

_NOT_NOW: Final[Mapping[Command, str]] = {
    Command.LOAD: "A picture is being etched; load another when it has ended.",
    Command.UNLOAD: "There is no picture to unload.",
    Command.START: "There is nothing to start now.",
    Command.HOLD: "Nothing is being etched that could be held.",
    Command.HOLD_NOW: "Nothing is being etched that could be held.",
    Command.RESUME: "Nothing is held that could go on.",
    Command.STOP: "Nothing is being etched that could be stopped.",
}


def next_state(state: State, input_: Command | RunOccurrence) -> State:
    """Return the state after `input_` in `state`; raise CommandRefused where there is none."""
    try:
        return NEXT_STATE[state, input_]
    except KeyError:
        if isinstance(input_, Command):
            raise CommandRefused(_NOT_NOW[input_]) from None
        raise


class RunStateMachine:
    """The state, and the one way to change it."""

    def __init__(self) -> None:
        self.state = State.STARTING

    def turn(self, input_: Command | RunOccurrence) -> None:
        """Change to the state after `input_`; raise CommandRefused where there is none."""
        self.state = next_state(self.state, input_)

    def note_armed(self, *, is_armed: bool) -> None:
        """Follow the box: a loaded job is armed while the box is."""
        turn = RunOccurrence.ARMED if is_armed else RunOccurrence.DISARMED
        self.state = NEXT_STATE.get((self.state, turn), self.state)

    @property
    def is_under_way(self) -> bool:
        """Whether a run is under way."""
        return self.state in UNDER_WAY


def commands_in(state: State) -> tuple[Command, ...]:
    """Return what a person may ask for in `state`, in the order of the enumeration."""
    return tuple(command for command in Command if (state, command) in NEXT_STATE)
