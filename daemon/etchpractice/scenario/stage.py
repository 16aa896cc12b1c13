"""Where a scenario is played: in memory for tests, over sockets for the command."""

from collections.abc import Iterator
from typing import Protocol

from etchpractice.scenario.events import Event
from etchpractice.scenario.observation import Observation
from etchpractice.scenario.play import Occurrence, Play
from etchpractice.scenario.script import Scenario


class Stage(Protocol):
    """An etch that can be looked at, acted upon, and let go on."""

    def observe(self) -> Observation:
        """Return what is seen now."""
        ...

    def do(self, event: Event) -> None:
        """Let `event` happen; what a person is refused shows in the next observation."""
        ...

    def let_time_pass(self) -> None:
        """Let a little of the machine's time pass."""
        ...


def perform(
    scenario: Scenario, stage: Stage, *, slack_s: float = 0.0, pace: float = 1.0
) -> Iterator[Occurrence]:
    """Play `scenario` on `stage` and yield what happens as it happens.

    What has a time in the scenario may take `slack_s` longer, because it is seen that much later.
    What has none is waited for in real time, in whose seconds `pace` of the machine's pass. It
    ends with the scenario or with the first thing that is not as expected, which comes last.
    """
    play, yielded = Play(scenario, slack_s=slack_s, pace=pace), 0
    while not play.is_over:
        event = play.due(stage.observe())
        yield from play.occurrences[yielded:]
        yielded = len(play.occurrences)
        if event is not None:
            stage.do(event)
        elif not play.is_over:
            stage.let_time_pass()
