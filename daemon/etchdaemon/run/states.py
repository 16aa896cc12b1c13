"""The life of an etch: a table, and a miss is the refusal."""

from collections.abc import Mapping
from enum import Enum
from typing import Final

from etchdaemon.errors import CommandRefused


class State(Enum):
    """Where the daemon stands with job and run."""

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


class Wish(Enum):
    """What a person may ask for."""

    LOAD = "load"
    UNLOAD = "unload"
    START = "start"
    HOLD = "hold"
    HOLD_NOW = "hold_now"
    RESUME = "resume"
    STOP = "stop"


class Turn(Enum):
    """What happens to an etch without anybody's asking."""

    MACHINE_SEEN = "machine seen"
    ARMED = "armed"
    DISARMED = "disarmed"
    CAME_TO_REST = "came to rest"
    MOVED_ON = "moved on"
    FAULT_FOUND = "fault found"  # and the machine is being stopped for it
    RUN_ENDED = "run ended"


NEXT_STATE: Final[Mapping[tuple[State, Wish | Turn], State]] = {
    (State.STARTING, Turn.MACHINE_SEEN): State.IDLE,
    (State.STARTING, Wish.LOAD): State.LOADED,
    (State.IDLE, Wish.LOAD): State.LOADED,
    (State.LOADED, Wish.LOAD): State.LOADED,
    (State.LOADED, Wish.UNLOAD): State.IDLE,
    (State.LOADED, Turn.ARMED): State.ARMED,
    (State.ARMED, Turn.DISARMED): State.LOADED,
    (State.ARMED, Wish.LOAD): State.LOADED,
    (State.ARMED, Wish.UNLOAD): State.IDLE,
    (State.ARMED, Wish.START): State.ETCHING,
    (State.ETCHING, Wish.HOLD): State.HOLDING,
    (State.ETCHING, Wish.HOLD_NOW): State.HOLDING,
    (State.ETCHING, Wish.STOP): State.STOPPING,
    (State.ETCHING, Turn.FAULT_FOUND): State.STOPPING,
    (State.ETCHING, Turn.RUN_ENDED): State.ENDED,
    (State.HOLDING, Wish.HOLD_NOW): State.HOLDING,
    (State.HOLDING, Wish.STOP): State.STOPPING,
    (State.HOLDING, Turn.CAME_TO_REST): State.HELD,
    (State.HOLDING, Turn.FAULT_FOUND): State.STOPPING,
    (State.HOLDING, Turn.RUN_ENDED): State.ENDED,
    (State.HELD, Wish.RESUME): State.RESUMING,
    (State.HELD, Wish.STOP): State.STOPPING,
    (State.HELD, Turn.FAULT_FOUND): State.STOPPING,
    (State.HELD, Turn.RUN_ENDED): State.ENDED,
    (State.RESUMING, Wish.STOP): State.STOPPING,
    (State.RESUMING, Turn.MOVED_ON): State.ETCHING,
    (State.RESUMING, Turn.FAULT_FOUND): State.STOPPING,
    (State.RESUMING, Turn.RUN_ENDED): State.ENDED,
    (State.STOPPING, Wish.STOP): State.STOPPING,
    (State.STOPPING, Turn.FAULT_FOUND): State.STOPPING,
    (State.STOPPING, Turn.RUN_ENDED): State.ENDED,
    (State.ENDED, Wish.LOAD): State.LOADED,
    (State.ENDED, Wish.UNLOAD): State.IDLE,
    (State.ENDED, Turn.ARMED): State.ARMED,
}

# A run is under way: its record is open and the controller is ours.
UNDER_WAY: Final = (State.ETCHING, State.HOLDING, State.HELD, State.RESUMING, State.STOPPING)

# The head moves on the run's word; while it is stopped, only if it moved before.
MOVING: Final = (State.ETCHING, State.HOLDING, State.RESUMING)

_NOT_NOW: Final[Mapping[Wish, str]] = {
    Wish.LOAD: "A picture is being etched; load another when it has ended.",
    Wish.UNLOAD: "There is no picture to put away.",
    Wish.START: "There is nothing to start now.",
    Wish.HOLD: "Nothing is being etched that could be held.",
    Wish.HOLD_NOW: "Nothing is being etched that could be held.",
    Wish.RESUME: "Nothing is held that could go on.",
    Wish.STOP: "Nothing is being etched that could be stopped.",
}


def next_state(state: State, input_: Wish | Turn) -> State:
    """Return where `input_` takes an etch in `state`; raise CommandRefused where nowhere."""
    try:
        return NEXT_STATE[state, input_]
    except KeyError:
        if isinstance(input_, Wish):
            raise CommandRefused(_NOT_NOW[input_]) from None
        raise


def states_as_markdown() -> str:
    """Return the table for DEVELOPERS.md: from each state, what leads where."""
    lines = ["| from | by | to |", "| --- | --- | --- |"]
    for (state, input_), following in NEXT_STATE.items():
        kind = "asked" if isinstance(input_, Wish) else "happens"
        lines.append(
            f"| {state.value} | {input_.value.replace('_', ' ')} ({kind}) | {following.value} |"
        )
    return "\n".join(lines)


class Life:
    """The state, and the one way to change it."""

    def __init__(self) -> None:
        self.state = State.STARTING

    def turn(self, input_: Wish | Turn) -> None:
        """Go where `input_` leads; raise CommandRefused where it leads nowhere."""
        self.state = next_state(self.state, input_)

    def note_armed(self, *, is_armed: bool) -> None:
        """Follow the box: a picture that is loaded is ready to start while the box is armed."""
        turn = Turn.ARMED if is_armed else Turn.DISARMED
        self.state = NEXT_STATE.get((self.state, turn), self.state)

    @property
    def is_under_way(self) -> bool:
        """Whether a run is."""
        return self.state in UNDER_WAY


def wishes_in(state: State) -> tuple[Wish, ...]:
    """Return what a person may ask for in `state`, in the order of the enumeration."""
    return tuple(wish for wish in Wish if (state, wish) in NEXT_STATE)
