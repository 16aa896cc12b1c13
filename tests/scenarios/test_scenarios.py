"""Every scenario that comes with the program and needs no processes, played in memory.

Those that do are played in tests/processes/test_practice_scenario.py.
"""

from contextlib import closing

import pytest

from etchpractice.scenario.script import read_scenario
from etchpractice.scenario.shelf import shelved
from etchpractice.scenario.stage import perform
from scenarios.memory_stage import MemoryStage
from support.harnesses.scenarios_by_stage import needs_processes

SCENARIOS = {one.name: read_scenario(one.path.read_text()) for one in shelved()}
IN_MEMORY = [name for name, scenario in SCENARIOS.items() if not needs_processes(scenario)]


@pytest.mark.parametrize("name", IN_MEMORY)
def test_a_scenario_comes_out_as_it_is_written(name, tmp_path):
    scenario = SCENARIOS[name]

    with closing(MemoryStage(tmp_path, scenario)) as stage:
        stage.begin(scenario)
        told = list(perform(scenario, stage))

    assert not told[-1].is_failure, "\n".join(map(str, told))
