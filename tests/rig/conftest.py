"""The rigs that most tests of this folder begin with."""

import pytest

from etchpractice.machine import PracticeMachine
from rig.bench import Rig


@pytest.fixture
def rig(tmp_path):
    """The daemon on an 8-bit practice machine, in memory, with time moved by hand."""
    with Rig(tmp_path) as made:
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
