"""Fixtures for every folder of tests."""

import signal

import pytest
from hypothesis import HealthCheck, settings

from etchpractice.machine import PracticeMachine
from rig.bench import Rig

# The same examples everywhere, and no clock: a busy machine must not fail a property.
settings.register_profile(
    "house", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("house")

# Whoever runs the tests in the background of a shell has Ctrl-C ignored, by every child as well.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)


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
