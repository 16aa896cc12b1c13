"""The two clocks are two types: the machine's time is refused where the wall's belongs."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
USE = """
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.ports import Clock

def judge(box: InterlockEngine, clock: Clock) -> None:
    box.judge(clock.{judged}())
    Edge(clock.{edge_wall}(), clock.{edge_machine}())
"""


@pytest.mark.parametrize(
    ("judged", "edge_wall", "edge_machine", "faults"),
    [
        ("wall_s", "wall_s", "now_s", 0),
        ("now_s", "wall_s", "now_s", 1),
        ("wall_s", "now_s", "wall_s", 2),
    ],
)
def test_the_machines_seconds_are_refused_where_the_walls_belong(
    tmp_path, judged, edge_wall, edge_machine, faults
):
    use = tmp_path / "use.py"
    use.write_text(USE.format(judged=judged, edge_wall=edge_wall, edge_machine=edge_machine))

    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", use],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip

    assert done.stdout.count("error:") == faults, done.stdout
    assert done.stdout.count("[arg-type]") == faults
