"""The two clocks are two types: the machine's time is refused where the wall's belongs."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FAULT = re.compile(r"(\w+)\.py:\d+: error: .*\[arg-type\]$", re.MULTILINE)
USE = """
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.ports import Clock

def judge(box: InterlockEngine, clock: Clock) -> None:
    box.judge(clock.{judged}())
    Edge(clock.{edge_wall}(), clock.{edge_machine}())
"""


@pytest.mark.slow
def test_the_machines_seconds_are_refused_where_the_walls_belong(tmp_path):
    for name, judged, edge_wall, edge_machine in (
        ("right", "wall_s", "wall_s", "now_s"),
        ("judged", "now_s", "wall_s", "now_s"),
        ("edge", "wall_s", "now_s", "wall_s"),
    ):
        text = USE.format(judged=judged, edge_wall=edge_wall, edge_machine=edge_machine)
        (tmp_path / f"{name}.py").write_text(text)

    done = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", *sorted(tmp_path.iterdir())],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip

    faults = FAULT.findall(done.stdout)
    assert sorted(faults) == ["edge", "edge", "judged"], done.stdout
    assert done.stdout.count("error:") == len(faults)
