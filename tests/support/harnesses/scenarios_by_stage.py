"""Which scenarios are played in memory, and which by real processes only."""

from etchpractice.scenario.events import Actor
from etchpractice.scenario.script import Scenario

OF_PROCESSES = {Actor.CARD, Actor.PROGRAM}  # like the page, none of them is there in memory


def needs_processes(scenario: Scenario) -> bool:
    """Return whether it can be played by real processes only."""
    return scenario.needs_page or any(
        step.event is not None and step.event.kind.actor in OF_PROCESSES for step in scenario.steps
    )
