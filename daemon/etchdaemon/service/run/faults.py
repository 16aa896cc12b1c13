"""What ends a run, and its sentence: a table by controller event."""

from collections.abc import Mapping
from itertools import islice
from typing import Final

from etchdaemon.controller.events import (
    AlarmRaised,
    CountContradicted,
    Event,
    LineRefused,
    StatusReported,
    StrayReplyReceived,
    Unreadable,
)
from etchdaemon.controller.firmware import EIGHT_BIT, Firmware
from etchdaemon.interlocks.rules.evaluation import BreachCause
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction
from etchdaemon.interlocks.rules.verdict import Verdict
from etchdaemon.run.loop_stalls import LoopStalls
from etchdaemon.run.starvation import Cause
from etchdaemon.run.states import State

# What the controller may say that it does while a run is in this state.
EXPECTED: Final[Mapping[State, frozenset[str]]] = {
    State.ETCHING: frozenset(("Idle", "Run")),
    State.HOLDING: frozenset(("Idle", "Run", "Hold")),
    # Where the lid may be opened: it is looked at again before the head moves.
    State.HELD: frozenset(("Idle", "Hold", "Door")),
    State.RESUMING: frozenset(("Idle", "Run", "Hold", "Door")),
}

_WHAT_HAPPENED: Final[Mapping[str, str]] = {
    "Hold": "The machine was held by something else: a pause in the job, or a button at the"
    " controller.",
    "Door": "The controller says that the lid was opened.",
    "Alarm": "The controller has locked itself.",
    "Check": "The controller has gone over to checking without moving.",
    "Sleep": "The controller has gone to sleep.",
}

STRAY_REPLY: Final = "The controller answered more lines than it was sent: the cable is disturbed."
DAMAGED_REPLY: Final = "An answer of the controller came damaged: the cable is disturbed."
SOMETHING_ELSE: Final = "The controller is suddenly doing something else"
SILENT: Final = (
    "The controller answers nothing any more. Look at the machine; switch the laser off if it"
    " does not stand still."
)
HELD_UP: Final = (
    "The control program was held up for {pause_s:.1f} s and watched nothing meanwhile: this"
    " computer was stopped or overloaded. Find out by what."
)
LOST_REPLY: Final = (
    "The controller has stopped before the end and owes an answer: a line was lost on the"
    " cable. Use a shorter cable, away from the motors' wires."
)
ASTRAY: Final = (
    "The head is where nothing of this picture goes: a line was damaged on the cable, or the"
    " origin was moved."
)
CUT_UNSEEN: Final = (
    "Where the beam went out is not known: nobody watched just then, or the head was not on its"
    " rows. Look at the tile."
)
_SHORT: Final = "The controller ran short of lines on the way, and some of the picture was burnt"
STARVED: Final = {
    Cause.COMPUTER: f"{_SHORT} slower than asked: this computer was busy and sent them too late.",
    Cause.CABLE: f"{_SHORT} slower than asked: bytes were late on the cable, or on its adapter.",
}
POSITION_UNKNOWN: Final = "Head position unknown: home the machine, or set the origin again."
# What is said of a fault that came when nothing was left to etch.
_AT_THE_END: Final[Mapping[str, str]] = {
    LOST_REPLY: "Every row was etched; the last answer did not come: it, or a line of a row, was"
    " lost on the cable. Look at the tile.",
    STRAY_REPLY: "Every row was etched; then one answer too many came: the cable is disturbed.",
}
NOT_AT_REST: Final = "The machine did not come to rest when it was told to."
NOT_MOVING: Final = "The head did not move within half a second of being let go on."
NO_BEAM: Final = (
    "The beam's contact was to close and has not: the interlocks or the wiring keep it open."
)
NOT_AT_ROW_END: Final = (
    "The head does not stand where the row ends: a line was damaged on the cable."
)
DOES_NOT_ANSWER: Final = (
    "The controller does not answer. Switch the laser off, then the controller off and on."
)
RESTARTED: Final = (
    "The controller restarted by itself in mid-run. Check its power supply and its cable."
)


def fault_of(event: Event, state: State, firmware: Firmware | None) -> str | None:
    """Return why `event` ends a run in `state`, or None when it does not.

    Greetings, silence and lost replies are judged elsewhere: they ask for other acts. While a
    run is being stopped nothing more ends it; what is stale is on its way then.
    """
    kind = firmware or EIGHT_BIT
    match event:
        case _ if state is State.STOPPING:
            return None
        case LineRefused(code=code, line=line):
            return f"{kind.error(code)} The line was {line!r}."
        case AlarmRaised(code=code):
            return str(kind.alarm(code))
        case StrayReplyReceived() | CountContradicted() | Unreadable():
            return _disturbance(event)
        case StatusReported() if event.state not in EXPECTED[state]:
            return _WHAT_HAPPENED.get(event.state, f"{SOMETHING_ELSE} ({event.state}).")
    return None


def _disturbance(event: StrayReplyReceived | CountContradicted | Unreadable) -> str | None:
    if isinstance(event, Unreadable):
        return DAMAGED_REPLY if event.may_be_a_reply else None
    return STRAY_REPLY


def after_the_last_row(because: str) -> str:
    """Return why a run failed in which every dot was burnt already."""
    return _AT_THE_END.get(because, f"Every row was etched before it failed. {because}")


def with_place_lost(because: str) -> str:
    """Return `because` and how the place is found again, unless the alarm's remedy says it."""
    return because if "Head position unknown" in because else f"{because} {POSITION_UNKNOWN}"


def slowed(*, run_mm_per_min: float, asked_mm_per_min: float) -> str:
    """Return what is said where the controller's own processor was the limit."""
    slower = (1 - run_mm_per_min / asked_mm_per_min) * 100
    return (
        "The picture has more detail than this controller can take in. Where it is finest the head"
        f" ran {slower:.0f} % slower than asked: set the speed to {run_mm_per_min:.0f} mm/min, or"
        " choose a wider line spacing or a softer picture."
    )


def held_up(loop_stalls: LoopStalls) -> str:
    """Return what is said of the last pause."""
    return HELD_UP.format(pause_s=loop_stalls.lasted_s)


def why_tripped(verdict: Verdict, loop_stalls: LoopStalls) -> str:
    """Return why the box trips: after a long pause, readings that nobody took are no open lid."""
    if not loop_stalls.was_long:
        return verdict.sentence
    bad = (
        breach.sentence
        for breach in verdict.breaches
        if breach.cause is BreachCause.BAD and breach.reaction(Phase.ETCHING) >= Reaction.TRIP
    )
    return " ".join((held_up(loop_stalls), *islice(bad, 1)))
