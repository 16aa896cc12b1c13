"""Where a scenario is played: in memory for tests, over sockets for the command."""

from collections.abc import Iterator
from typing import Protocol

from etchpractice.scenario.events import Event
from etchpractice.scenario.observation import Sight
from etchpractice.scenario.play import Play, Told
from etchpractice.scenario.script import Scenario


class Stage(Protocol):
    """An etch that can be looked at, acted upon, and let go on."""

    def sight(self) -> Sight:
        """Return what is seen now."""
        ...

    def do(self, event: Event) -> None:
        """Let `event` happen; what a person is refused shows in the next sight."""
        ...

    def let_time_pass(self) -> None:
        """Let a little of the machine's time pass."""
        ...


def perform(
    scenario: Scenario, stage: Stage, *, slack_s: float = 0.0, pace: float = 1.0
) -> Iterator[Told]:
    """Play `scenario` on `stage` and yield what happens as it happens.

    What has a time in the scenario may take `slack_s` longer, because it is seen only so late. What
    has none is waited for by the wall's time, in which `pace` of the machine's seconds pass. The
    play ends at its end or at the first thing that is not as expected; that is told last.
    """
    play, told = Play(scenario, slack_s=slack_s, pace=pace), 0
    while not play.is_over:
        event = play.due(stage.sight())
        yield from play.told[told:]
        told = len(play.told)
        if event is not None:
            stage.do(event)
        elif not play.is_over:
            stage.let_time_pass()
