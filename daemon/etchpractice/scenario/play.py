"""A scenario being played: told what is seen, it says what is due; no port, no clock."""

from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from etchpractice.scenario.events import Actor, Event
from etchpractice.scenario.observation import Sight
from etchpractice.scenario.script import Scenario, Step

# Where nothing is written the wall's time counts, because the computer may be busy.
PATIENCE_S: Final = 60.0
MOMENT_WITHIN_S: Final = 600.0


class _Stage(Enum):
    WAITING = auto()  # for the moment
    EXPECTING = auto()  # for what must come of it
    WATCHING = auto()  # that it stays so


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that happened, when, and whether it is a failure."""

    at_s: float
    sentence: str
    is_failure: bool = False

    def __str__(self) -> str:
        """Return the line that is printed."""
        return f"{self.at_s:9.3f} s  {self.sentence}"


class Play:
    """Takes sights in order; `told` is what has happened, and it ends at the first failure."""

    def __init__(self, scenario: Scenario, *, slack_s: float = 0.0, pace: float = 1.0) -> None:
        self.told: list[Told] = []
        self._slack_s = slack_s
        self._pace = pace
        self._steps = list(scenario.steps)
        self._stage = _Stage.WAITING
        self._began_s: float | None = None
        self._since_s = 0.0

    @property
    def is_over(self) -> bool:
        """Whether nothing more is to come."""
        return self.has_failed or not self._steps

    @property
    def has_failed(self) -> bool:
        """Whether something was not as expected."""
        return bool(self.told) and self.told[-1].is_failure

    def due(self, sight: Sight) -> Event | None:
        """Return what is to happen now, if anything; to be asked again, with a new sight, if so."""
        if self._began_s is None:
            self._began_s = self._since_s = sight.now_s
        while not self.is_over:
            step = self._steps[0]
            if self._stage is _Stage.WAITING:
                if not self._has_come(step, sight):
                    return None
                self._go_on(_Stage.EXPECTING, sight)
                if step.event is not None:
                    self._tell(sight, str(step.event))
                    return step.event
            elif not self._is_done(step, sight):
                return None
        return None

    def give_up(self, sight: Sight, sentence: str) -> None:
        """End the play as a failure."""
        self._tell(sight, sentence, is_failure=True)

    def _has_come(self, step: Step, sight: Sight) -> bool:
        moment, waited_s = step.moment, sight.now_s - self._since_s
        has_come = (
            (moment.row is None or sight.row >= moment.row)
            and (moment.at_s is None or self._at_s(sight) >= moment.at_s)
            and waited_s >= moment.after_s
            and (moment.offered is None or moment.offered in sight.may)
        )
        patience_s = MOMENT_WITHIN_S * self._pace + moment.after_s + (moment.at_s or 0.0)
        if not has_come and waited_s > patience_s:
            self.give_up(sight, "Not as expected: what the next step waits for never came.")
        return has_come

    def _is_done(self, step: Step, sight: Sight) -> bool:
        """Return whether the step in hand is over, and note what was seen."""
        lasted_s = sight.now_s - self._since_s
        if self._is_refused(step, sight):
            return False
        amiss = next(((one, seen) for one in step.expected if (seen := one.amiss(sight))), None)
        if amiss is not None:
            if self._stage is _Stage.WATCHING or lasted_s > self._within_s(step):
                self.give_up(sight, _said_of(step, *map(str, amiss), stage=self._stage))
            return False
        if self._stage is _Stage.EXPECTING:
            if step.expected:
                expected = "; ".join(map(str, step.expected))
                self._tell(sight, f"As expected after {lasted_s:.3f} s: {expected}.")
            self._go_on(_Stage.WATCHING, sight)
            return step.for_s == 0.0 and self._next(sight)
        if lasted_s < step.for_s:
            return False
        self._tell(sight, f"It has stayed so for {step.for_s:g} s.")
        return self._next(sight)

    def _within_s(self, step: Step) -> float:
        if step.within_s is None:
            return PATIENCE_S * self._pace
        return step.within_s + self._slack_s

    def _is_refused(self, step: Step, sight: Sight) -> bool:
        """Return whether the daemon refused what nobody expected it to refuse."""
        is_asked = step.event is not None and step.event.kind.actor is Actor.PERSON
        if not is_asked or sight.refusal is None or step.expects_refusal:
            return False
        self.give_up(sight, f"Not as expected: it was refused. {sight.refusal}")
        return True

    def _next(self, sight: Sight) -> bool:
        del self._steps[0]
        self._go_on(_Stage.WAITING, sight)
        return True

    def _go_on(self, stage: _Stage, sight: Sight) -> None:
        self._stage, self._since_s = stage, sight.now_s

    def _at_s(self, sight: Sight) -> float:
        return sight.now_s - (self._began_s or 0.0)

    def _tell(self, sight: Sight, sentence: str, *, is_failure: bool = False) -> None:
        self.told.append(Told(self._at_s(sight), sentence, is_failure))


def _said_of(step: Step, expected: str, seen: str, *, stage: _Stage) -> str:
    if stage is _Stage.WATCHING:
        return f"Not as expected: {expected} did not last {step.for_s:g} s; {seen}."
    within = "in time" if step.within_s is None else f"within {step.within_s:g} s"
    return f"Not as expected {within}: {expected}; {seen}."
