"""Do the tests notice what they are for? `pytest -m measure tests/measure/mutation_test.py -s`.

Every named mutant of `measure.mutants` is tried; what that takes is printed with each.
"""

import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.measure

TESTS = Path(__file__).resolve().parents[1]


def test_the_mutants_are_killed_and_those_that_are_not_are_explained():
    tried = subprocess.run(
        [sys.executable, "-m", "measure.mutation_trials"], cwd=TESTS, check=False
    )

    assert tried.returncode == 0
