"""A scenario being played: told what is seen, it says what is due; no port, no clock."""

from dataclasses import dataclass
from enum import Enum, auto
from typing import Final

from etchpractice.scenario.events import Actor, Event
from etchpractice.scenario.observation import Observation
from etchpractice.scenario.script import Scenario, Step

# Where nothing is written the wall's time counts, because the computer may be busy.
PATIENCE_S: Final = 60.0
MOMENT_WITHIN_S: Final = 600.0


class _Stage(Enum):
    WAITING = auto()  # for the moment
    EXPECTING = auto()  # for what must come of it
    WATCHING = auto()  # that it stays so


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One thing that happened, when, and whether it is a failure."""

    at_s: float
    sentence: str
    is_failure: bool = False

    def __str__(self) -> str:
        """Return the line that is printed."""
        return f"{self.at_s:9.3f} s  {self.sentence}"


class Play:
    """Takes observations in order, and ends at the first failure.

    `occurrences` are what has happened so far.
    """

    def __init__(self, scenario: Scenario, *, slack_s: float = 0.0, pace: float = 1.0) -> None:
        self.occurrences: list[Occurrence] = []
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
        return bool(self.occurrences) and self.occurrences[-1].is_failure

    def due(self, observation: Observation) -> Event | None:
        """Return what is to happen now, if anything; then ask again, with a new observation."""
        if self._began_s is None:
            self._began_s = self._since_s = observation.machine.now_s
        while not self.is_over:
            step = self._steps[0]
            if self._stage is _Stage.WAITING:
                if not self._has_come(step, observation):
                    return None
                self._go_on(_Stage.EXPECTING, observation)
                if step.event is not None:
                    self._note(observation, str(step.event))
                    return step.event
            elif not self._is_done(step, observation):
                return None
        return None

    def give_up(self, observation: Observation, sentence: str) -> None:
        """End the play as a failure."""
        self._note(observation, sentence, is_failure=True)

    def _has_come(self, step: Step, observation: Observation) -> bool:
        moment, waited_s = step.moment, observation.machine.now_s - self._since_s
        has_come = (
            (moment.row is None or observation.row >= moment.row)
            and (moment.at_s is None or self._at_s(observation) >= moment.at_s)
            and waited_s >= moment.after_s
            and (moment.offered is None or moment.offered in observation.may)
        )
        patience_s = MOMENT_WITHIN_S * self._pace + moment.after_s + (moment.at_s or 0.0)
        if not has_come and waited_s > patience_s:
            self.give_up(observation, "Not as expected: what the next step waits for never came.")
        return has_come

    def _is_done(self, step: Step, observation: Observation) -> bool:
        """Return whether the step in hand is over, and note what was seen."""
        lasted_s = observation.machine.now_s - self._since_s
        if self._is_refused(step, observation):
            return False
        amiss = next(
            ((one, seen) for one in step.expected if (seen := one.amiss(observation))), None
        )
        if amiss is not None:
            if self._stage is _Stage.WATCHING or lasted_s > self._within_s(step):
                self.give_up(observation, _said_of(step, *map(str, amiss), stage=self._stage))
            return False
        if self._stage is _Stage.EXPECTING:
            if step.expected:
                expected = "; ".join(map(str, step.expected))
                self._note(observation, f"As expected after {lasted_s:.3f} s: {expected}.")
            self._go_on(_Stage.WATCHING, observation)
            return step.for_s == 0.0 and self._next(observation)
        if lasted_s < step.for_s:
            return False
        self._note(observation, f"It has stayed so for {step.for_s:g} s.")
        return self._next(observation)

    def _within_s(self, step: Step) -> float:
        if step.within_s is None:
            return PATIENCE_S * self._pace
        return step.within_s + self._slack_s

    def _is_refused(self, step: Step, observation: Observation) -> bool:
        """Return whether the daemon refused what nobody expected it to refuse."""
        is_asked = step.event is not None and step.event.kind.actor is Actor.PERSON
        if not is_asked or observation.refusal is None or step.expects_refusal:
            return False
        self.give_up(observation, f"Not as expected: it was refused. {observation.refusal}")
        return True

    def _next(self, observation: Observation) -> bool:
        del self._steps[0]
        self._go_on(_Stage.WAITING, observation)
        return True

    def _go_on(self, stage: _Stage, observation: Observation) -> None:
        self._stage, self._since_s = stage, observation.machine.now_s

    def _at_s(self, observation: Observation) -> float:
        return observation.machine.now_s - (self._began_s or 0.0)

    def _note(self, observation: Observation, sentence: str, *, is_failure: bool = False) -> None:
        self.occurrences.append(Occurrence(self._at_s(observation), sentence, is_failure))


def _said_of(step: Step, expected: str, seen: str, *, stage: _Stage) -> str:
    if stage is _Stage.WATCHING:
        return f"Not as expected: {expected} did not last {step.for_s:g} s; {seen}."
    within = "in time" if step.within_s is None else f"within {step.within_s:g} s"
    return f"Not as expected {within}: {expected}; {seen}."
