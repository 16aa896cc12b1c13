"""The rigs that most tests of this folder begin with."""

import pytest

from etchpractice.machine import PracticeMachine
from rig.bench import Rig, dashes
from rig.guarded import GuardedRig

HOMING = {22: 1.0}


@pytest.fixture
def rig(tmp_path):
    """The daemon on an 8-bit practice machine, in memory, with time moved by hand."""
    with Rig(tmp_path) as made:
        yield made


@pytest.fixture
def guarded(tmp_path):
    """The daemon with its guard, box and people about it, on the same machine."""
    with GuardedRig(tmp_path) as made:
        yield made


@pytest.fixture
def etching(tmp_path):
    """A guarded rig in the middle of its picture."""
    with GuardedRig(tmp_path) as rig:
        rig.start(rig.make_job(dashes(60, 400)))
        rig.etch_until_row(1)
        yield rig


@pytest.fixture
def homing_rig(tmp_path):
    """A rig whose machine has switches, and wakes up locked."""
    with GuardedRig(tmp_path, PracticeMachine(settings=HOMING)) as made:
        made.wait_until(lambda: "home" in made.may)
        yield made


@pytest.fixture
def rig_beside(tmp_path):
    """A second one, to compare with."""
    folder = tmp_path / "beside"
    folder.mkdir()
    with Rig(folder) as made:
        yield made


@pytest.fixture
def rig_of(tmp_path):
    """Make a rig on a practice machine with other settings or another firmware."""
    made = []

    def make(**machine):
        made.append(Rig(tmp_path, PracticeMachine(**machine)))
        return made[-1]

    yield make
    for rig in made:
        rig.service.close()
