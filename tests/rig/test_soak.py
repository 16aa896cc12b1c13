"""A minute of the machine's time, full of faults; fifty of them are in tests/measure."""

import pytest

from etchpractice.machine import PracticeMachine
from rig.bench import Rig
from rig.soak import soak

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(("firmware", "seed"), [("8-bit", 1), ("32-bit", 2)])
def test_a_minute_of_faults_each_ends_as_the_table_says(tmp_path, firmware, seed):
    with Rig(tmp_path, PracticeMachine(firmware=firmware)) as rig:
        done = soak(rig, seed=seed, faults=1000, within_s=60.0)

    assert done.total() >= 5
