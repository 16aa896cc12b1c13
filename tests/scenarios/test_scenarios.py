"""Every scenario of this folder, played in memory."""

from pathlib import Path

import pytest

from etchpractice.scenario.script import read_scenario
from etchpractice.scenario.stage import perform
from scenarios.memory_stage import MemoryStage

FILES = sorted(Path(__file__).parent.glob("*.toml"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_scenario_comes_out_as_it_is_written(path, tmp_path):
    scenario = read_scenario(path.read_text())
    stage = MemoryStage(tmp_path, scenario)

    told = list(perform(scenario, stage))
    stage.close()

    assert not told[-1].is_failure, "\n".join(map(str, told))
