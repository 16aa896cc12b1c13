"""A change of release killed at each of its file operations: never half of it, and finished after.

Making a release is played by a few files here; that a real one is made anew when it was cut is
tried in `tests/systemd`.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

TESTS = Path(__file__).parents[1]
FEWEST_CUTS = 50  # so many operations there are at the least; fewer would mean that none is counted
RUNS_BEFORE = 4  # in `cuts.py`


@pytest.fixture
def folder(tmp_path):
    """A folder in memory, where there is one: thousands of syncs cost nothing there."""
    memory = Path("/dev/shm")
    if not memory.is_dir():
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=memory) as folder:
        yield folder


@pytest.fixture
def cuts(folder):
    def cuts(way):
        done = subprocess.run(
            [sys.executable, Path(__file__).with_name("cuts.py"), folder, way],
            env=os.environ | {"PYTHONPATH": str(TESTS)},
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return [json.loads(line) for line in done.stdout.splitlines()]

    return cuts


@pytest.mark.parametrize(
    ("way", "version", "schema"), [("finishes", "1.1", 4), ("fails", "1.0", 3), ("first", "1.0", 3)]
)
def test_killed_at_any_operation_the_board_boots_and_the_next_run_ends_it(
    cuts, way, version, schema
):
    found = cuts(way)

    assert len(found) > FEWEST_CUTS
    for cut in found:
        assert cut["boots"], cut
        assert (cut["version"], cut["is_whole"], cut["note"]) == (version, True, False), cut
        assert cut["schema"] == schema, cut
        assert cut["runs"] > RUNS_BEFORE, cut
        assert ("self-check failed" in cut["said"]) is (way == "fails"), cut
