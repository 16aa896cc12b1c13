"""Fixtures for every folder of tests."""

import pytest
from rig.bench import Rig


@pytest.fixture
def rig(tmp_path):
    """The daemon on an 8-bit practice machine, in memory, with time moved by hand."""
    return Rig(tmp_path)
