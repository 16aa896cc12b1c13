"""Every scenario that comes with the program, played in memory."""

import pytest

from etchpractice.scenario.script import read_scenario
from etchpractice.scenario.shelf import shelved
from etchpractice.scenario.stage import perform
from scenarios.memory_stage import MemoryStage


@pytest.mark.parametrize("path", [one.path for one in shelved()], ids=lambda path: path.stem)
def test_a_scenario_comes_out_as_it_is_written(path, tmp_path):
    scenario = read_scenario(path.read_text())
    stage = MemoryStage(tmp_path, scenario)

    told = list(perform(scenario, stage))
    stage.close()

    assert not told[-1].is_failure, "\n".join(map(str, told))
