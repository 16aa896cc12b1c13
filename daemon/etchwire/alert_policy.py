"""Who is told what, and by which way: one table for the buzzer, the alerts and the page."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Alert(StrEnum):
    """What a webhook or a mail is about; the page's settings choose by these words."""

    FINISHED = "finished"
    STOPPED = "stopped"
    FAILED = "failed"
    HELD = "held"
    HELD_LONG = "held long"
    EMERGENCY = "emergency"
    TRIPPED = "tripped"
    ROUND = "round"
    LOOK = "look"
    CUT_OFF = "cut off"


class Call(StrEnum):
    """The tones of a page that is in front, as `run/alarm.js` names them."""

    DONE = "done"
    HELD = "held"
    ASK = "ask"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Beep:
    """How the buzzer sounds: `on_s` of every `every_s`; for `lasts_s`, or as long as it is so."""

    on_s: float
    every_s: float
    lasts_s: float | None = None

    def is_on(self, *, since_s: float, now_s: float) -> bool:
        """Return whether it sounds at `now_s`, where what it tells of began at `since_s`."""
        is_over = self.lasts_s is not None and now_s - since_s >= self.lasts_s
        return not is_over and now_s % self.every_s < self.on_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """How people are told of one thing. `is_always`: no setting leaves the alert out."""

    what: str
    alert: Alert
    is_always: bool = False
    beep: Beep | None = None
    call: Call | None = None


class Occasion(StrEnum):
    """What people are told of."""

    EMERGENCY = "emergency"
    TRIP_AT_REST = "trip at rest"
    TRIP = "trip"
    BOARD = "board"
    FAULT = "fault"
    CUT_OFF = "cut off"
    ROUND = "round"
    LOOK = "look"
    HOLD_BY_BOX = "hold by the box"
    HOLD = "hold"
    HELD_LONG = "held long"
    STOP = "stop"
    END = "end"


_TRIP_BEEP: Final = Beep(on_s=0.5, every_s=1.0, lasts_s=10.0)

# How long a buzzer sounds: common practice, no source.
ALERT_POLICY: Final[Mapping[Occasion, Notice]] = {
    Occasion.EMERGENCY: Notice(
        what="An emergency, at any time: while etching, idle, after the end",
        alert=Alert.EMERGENCY, is_always=True, beep=Beep(on_s=0.25, every_s=0.5), call=Call.STOP,
    ),
    Occasion.TRIP_AT_REST: Notice(
        what="An interlock trips while nothing is etched or armed",
        alert=Alert.TRIPPED, is_always=True, beep=_TRIP_BEEP, call=Call.STOP,
    ),
    Occasion.TRIP: Notice(
        what="An interlock ends the etch",
        alert=Alert.STOPPED, beep=_TRIP_BEEP, call=Call.STOP,
    ),
    Occasion.BOARD: Notice(
        what="The pins tell of no edge any more: contacts are noticed by the poll alone",
        alert=Alert.TRIPPED, is_always=True,
    ),
    Occasion.FAULT: Notice(
        what="Controller, cable or supply end the etch: silence, hang, plug, alarm, brown-out",
        alert=Alert.FAILED, beep=Beep(on_s=0.5, every_s=1.0, lasts_s=30.0), call=Call.STOP,
    ),
    Occasion.CUT_OFF: Notice(
        what="The control program ends or hangs in mid-etch (its outputs fall, the buzzer too)",
        alert=Alert.CUT_OFF, is_always=True,
    ),
    Occasion.ROUND: Notice(
        what="A watch round asks for somebody",
        alert=Alert.ROUND, is_always=True, beep=Beep(on_s=0.2, every_s=2.0), call=Call.ASK,
    ),
    Occasion.LOOK: Notice(
        what="A look after the end is due",
        alert=Alert.LOOK, beep=Beep(on_s=0.2, every_s=2.0, lasts_s=60.0), call=Call.ASK,
    ),
    Occasion.HOLD_BY_BOX: Notice(
        what="The box holds the etch at the row's end",
        alert=Alert.HELD, beep=_TRIP_BEEP, call=Call.HELD,
    ),
    Occasion.HOLD: Notice(what="A person holds the etch", alert=Alert.HELD, call=Call.HELD),
    Occasion.HELD_LONG: Notice(what="Nobody comes to a held etch", alert=Alert.HELD_LONG),
    Occasion.STOP: Notice(what="A person stops the etch", alert=Alert.STOPPED, call=Call.STOP),
    Occasion.END: Notice(
        what="The etch is finished", alert=Alert.FINISHED, call=Call.DONE
    ),
}  # fmt: skip

ALWAYS: Final = frozenset(notice.alert for notice in ALERT_POLICY.values() if notice.is_always)
