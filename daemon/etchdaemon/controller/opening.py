"""The opening dialogue: identify the controller, and leave it empty and at rest.

Every opening of the port restarts most controllers, and those that it does not restart may
still hold lines of an older job. So a greeting is waited for; without one the controller is
asked what it does, brought to rest if it moves, and restarted on purpose.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum, auto
from math import inf
from typing import Final

from etchdaemon.controller.events import (
    Event,
    Greeted,
    LineAccepted,
    LineRefused,
    StatusReported,
    Unreadable,
)
from etchdaemon.controller.facts import Facts
from etchdaemon.controller.orders import NOTHING, Order, Orders, SendLine

GREETING_TIMEOUT_S: Final = 3.0  # a boot loader eats one to two seconds first
ANSWER_TIMEOUT_S: Final = 1.0
QUESTION_TIMEOUT_S: Final = 3.0
RESET_REPEAT_S: Final = 1.0
REPORT_REPEAT_S: Final = 0.25  # a report request may get lost; a controller answers in 10 ms
REST_TIMEOUT_S: Final = 5.0
SETTLE_S: Final = 0.2  # some boards greet twice
SETTLE_UNASKED_S: Final = 2.5  # after a greeting nobody asked for: let the supply come back
MOST_GREETINGS: Final = 8
MOST_LOOKS: Final = 3  # the 32-bit firmware tells the work offset in the second report only
QUESTIONS: Final = (b"$I", b"$$", b"$G", b"$#")

NO_ANSWER: Final = (
    "Nothing answers like a motion controller. Check that it is switched on, that this is its"
    " cable, and that it speaks at 115200 baud."
)
WRONG_SPEECH: Final = (
    "Something talks on this port, but not like a motion controller at 115200 baud. Check the"
    " cable, the port's name and the controller's baud rate."
)
KEEPS_RESTARTING: Final = (
    "The controller restarts again and again. Check its power supply and its cable."
)


class _Step(Enum):
    LISTENING = auto()
    ASKING = auto()
    BRAKING = auto()
    RESETTING = auto()
    SETTLING = auto()
    LOOKING = auto()
    QUESTIONING = auto()
    DONE = auto()


class From(Enum):
    """Where the dialogue begins."""

    PORT_OPENED = auto()  # a greeting is due by itself
    UNSURE = auto()  # ask first
    GREETING = auto()  # we have reset it and it has just greeted
    REST = auto()  # it is known and at rest: only ask again what it is set to
    UNASKED_GREETING = auto()


@dataclass(slots=True)
class Opening:
    """The dialogue as a state machine.

    At its end either `facts` hold the answers, or `failure` is a sentence.
    `was_unanswered`: the controller was silent on the way, and may have been without power.
    """

    start: From = From.PORT_OPENED
    greeting: Greeted | None = None
    facts: Facts | None = None
    failure: str | None = None
    was_unanswered: bool = False
    _step: _Step = _Step.LISTENING
    _until_s: float = 0.0
    _repeat_at_s: float = 0.0
    _greetings: int = 0
    _looks: int = 0
    _heard_noise: bool = False
    _has_reset: bool = False
    _questions: list[bytes] = field(default_factory=list)

    @property
    def is_over(self) -> bool:
        """Whether the dialogue is over."""
        return self._step is _Step.DONE

    @property
    def polls_every_s(self) -> float | None:
        """Ten a second while the machine brakes; otherwise the dialogue requests reports itself."""
        return 0.1 if self._step is _Step.BRAKING else None

    def begin(self, now_s: float) -> Orders:
        """Start listening, asking or settling, by where we come from."""
        match self.start:
            case From.PORT_OPENED:
                return self._go(_Step.LISTENING, now_s + GREETING_TIMEOUT_S)
            case From.UNSURE:
                return self._ask(now_s)
            case From.REST:
                return self._look(now_s)
            case From.GREETING:
                return self._go(_Step.SETTLING, now_s + SETTLE_S)
            case From.UNASKED_GREETING:
                return self._go(_Step.SETTLING, now_s + SETTLE_UNASKED_S)

    def handle_event(self, event: Event, now_s: float) -> Orders:
        """Take note of what the controller said."""
        match event:
            case Greeted():
                return self._greeted(event, now_s)
            case Unreadable():
                self._heard_noise = True
                return NOTHING
            case StatusReported():
                return self._reported(event, now_s)
        return self._answered(event, now_s) if self._step is _Step.QUESTIONING else NOTHING

    def tick(self, now_s: float) -> Orders:
        """Go on where waiting longer is of no use."""
        if self._step is _Step.RESETTING and now_s >= self._repeat_at_s:
            self._repeat_at_s = inf
            self.was_unanswered = True
            return (Order.RESET,)
        if self.is_over:
            return NOTHING
        if now_s < self._until_s:
            return self._repeat_request(now_s)
        self.was_unanswered |= self._step in _ASKED
        return _WHEN_TIME_IS_UP[self._step](self, now_s)

    def _go(self, step: _Step, until_s: float, *orders: Order | SendLine) -> Orders:
        self._step = step
        self._until_s = until_s
        return orders

    def _ask(self, now_s: float) -> Orders:
        self._repeat_at_s = now_s + REPORT_REPEAT_S
        return self._go(_Step.ASKING, now_s + ANSWER_TIMEOUT_S, Order.REPORT)

    def _look(self, now_s: float) -> Orders:
        self._looks += 1
        self._repeat_at_s = now_s + REPORT_REPEAT_S
        return self._go(_Step.LOOKING, now_s + ANSWER_TIMEOUT_S, Order.REPORT)

    def _repeat_request(self, now_s: float) -> Orders:
        if self._step not in _ASKED or now_s < self._repeat_at_s:
            return NOTHING
        self._repeat_at_s = now_s + REPORT_REPEAT_S
        return (Order.REPORT,)

    def _reset(self, now_s: float) -> Orders:
        self._has_reset = True
        self._repeat_at_s = now_s + RESET_REPEAT_S
        until_s = now_s + GREETING_TIMEOUT_S
        return self._go(_Step.RESETTING, until_s, Order.DISCARD_OUTPUT, Order.RESET)

    def _fail(self, sentence: str) -> Orders:
        self.failure = sentence
        return self._go(_Step.DONE, 0.0)

    def _give_up(self, _now_s: float) -> Orders:
        return self._fail(WRONG_SPEECH if self._heard_noise else NO_ANSWER)

    def _greeted(self, event: Greeted, now_s: float) -> Orders:
        self._greetings += 1
        if self._greetings > MOST_GREETINGS:
            return self._fail(KEEPS_RESTARTING)
        self.greeting = event
        is_unasked = self.start is From.UNASKED_GREETING
        return self._go(_Step.SETTLING, now_s + (SETTLE_UNASKED_S if is_unasked else SETTLE_S))

    def _reported(self, report: StatusReported, now_s: float) -> Orders:
        if self._step is _Step.LOOKING:
            return self._looked(report, now_s)
        if self._step is _Step.ASKING and not report.is_at_rest:
            until_s = now_s + REST_TIMEOUT_S
            return self._go(_Step.BRAKING, until_s, Order.FEED_HOLD, Order.REPORT)
        if self._step in (_Step.ASKING, _Step.BRAKING) and report.is_at_rest:
            return self._reset(now_s)
        return NOTHING

    def _looked(self, report: StatusReported, now_s: float) -> Orders:
        is_settled = report.state in ("Idle", "Alarm", "Door") and not report.has_closed_door
        if not is_settled and not self._has_reset:  # a hold of ours may have met its start
            return self._reset(now_s)
        if report.offset_mm is None and self._looks < MOST_LOOKS:
            return self._look(now_s)
        greeting = self.greeting or Greeted(None, "")
        self.facts = Facts(firmware=greeting.firmware, greeting=greeting.text, report=report)
        if not self.facts.was_questioned:
            return self._go(_Step.DONE, 0.0)
        self._questions = list(QUESTIONS)
        return self._question(now_s)

    def _question(self, now_s: float) -> Orders:
        if not self._questions:
            return self._go(_Step.DONE, 0.0)
        until_s = now_s + QUESTION_TIMEOUT_S
        return self._go(_Step.QUESTIONING, until_s, SendLine(self._questions.pop(0)))

    def _answered(self, event: Event, now_s: float) -> Orders:
        match event:
            case LineAccepted():
                return self._question(now_s)
            case LineRefused(code=code) if self.greeting and self.greeting.firmware:
                trouble = self.greeting.firmware.error(code)
                return self._fail(f"The controller would not say what it is. {trouble}")
        if self.facts is not None:
            self.facts = self.facts.with_answer(event)
        return NOTHING


_ASKED: Final = frozenset((_Step.ASKING, _Step.LOOKING))

_WHEN_TIME_IS_UP: Final[Mapping[_Step, Callable[[Opening, float], Orders]]] = {
    _Step.LISTENING: Opening._ask,
    _Step.ASKING: Opening._reset,
    _Step.BRAKING: Opening._reset,
    _Step.RESETTING: Opening._give_up,
    _Step.SETTLING: Opening._look,
    _Step.LOOKING: Opening._give_up,
    _Step.QUESTIONING: Opening._give_up,
}
