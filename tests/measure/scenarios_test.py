"""Every scenario on real processes: `pytest -m measure tests/measure/scenarios_test.py`.

The suite plays each of them in memory, and on real processes those that need them or are the first
to do something there.
"""

import pytest

from etchpractice.scenario.shelf import shelved
from support.harnesses.played_scenario import play

pytestmark = pytest.mark.measure


@pytest.mark.parametrize("name", [one.name for one in shelved()])
def test_a_scenario_comes_true(name):
    done = play(name)

    assert done.returncode == 0, done.stdout + done.stderr
