"""The scenarios that the page offers, each played by a practice of its own."""

import sys

from etchpractice.scenario.shelf import GROUPS, shelved
from etchweb.practice.scenario_runner import Scenario, ScenarioRunner


def scenario_runner() -> ScenarioRunner:
    """Return the runner of every scenario that comes with the program."""
    scenes = [Scenario(one.name, GROUPS[one.group], one.about, one.known) for one in shelved()]
    return ScenarioRunner(scenes, _command_for)


def _command_for(name: str) -> list[str]:
    # -P: nothing is imported from where we happen to be.
    return [
        sys.executable,
        "-P",
        "-m",
        "etchwarden",
        "practice",
        "--scenario",
        name,
        "--once",
        "--json",
    ]
