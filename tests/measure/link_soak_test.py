"""Fifty faults in a row on one daemon: `pytest -m measure tests/measure/link_soak_test.py -s`.

Drawn at random from the fault table by a seed (ETCHWARDEN_SEED), at random moments, on both
firmwares, in simulated time. A minute of it is part of the ordinary run.
"""

import os

import pytest

from etchpractice.machine import PracticeMachine
from rig.bench import Rig
from rig.soak import soak

pytestmark = pytest.mark.measure

FAULTS = 50
SEED = int(os.environ.get("ETCHWARDEN_SEED", "1"))


@pytest.mark.parametrize("firmware", ["8-bit", "32-bit"])
def test_fifty_faults_each_end_as_the_table_says(tmp_path, firmware):
    with Rig(tmp_path, PracticeMachine(firmware=firmware)) as rig:
        done = soak(rig, seed=SEED, faults=FAULTS)
        minutes = rig.machine.now_s / 60

    print(f"\n{firmware}, seed {SEED}: {FAULTS} faults in {minutes:.0f} minutes of machine time")
    for name, times in sorted(done.items()):
        print(f"  {name:<30} {times:>3}")
    print("  Each ended as the fault table says; the etch after the last was complete.")
