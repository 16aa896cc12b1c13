"""What a preflight costs: processor seconds and resident memory, each in a process of its own."""

import subprocess
import sys

import numpy as np
import pytest

from gcode_bench import job_of

pytestmark = pytest.mark.measure

LINES = 1_000_000
MEASURED = """
import re, sys, time
from pathlib import Path
from etchpath.inspected import inspect_file

before_s = time.process_time()
report = inspect_file(Path(sys.argv[1]))
spent_s = time.process_time() - before_s
status = Path("/proc/self/status").read_text()  # getrusage would tell the parent's peak
peak_mb = int(re.search(r"VmHWM:\\s+(\\d+)", status)[1]) / 1024
print(f"{report.lines:>10} {spent_s:>8.2f} {peak_mb:>8.0f}   {report.verdict}")
"""


def raster(path, repeats=1):
    gcode, sheet = job_of(np.random.default_rng(1).random((840, 2400)) < 0.5)
    rows = gcode[sheet.index[0].byte : -len(b"M5\nG90G0X0Y0\nM2\n")]
    with path.open("wb") as file:
        file.write(gcode[: sheet.index[0].byte])
        for _ in range(repeats):
            file.write(rows)
        file.write(b"M5\nG90G0X0Y0\nM2\n")


def absolute(path, irregular_every):
    """Absolute lines with three decimals, nearly all different; some with a word of Z."""
    rng = np.random.default_rng(2)
    steps = 0.1 + 0.05 * rng.random(LINES)
    places = np.abs((np.cumsum(steps) + 190) % 380 - 190)
    with path.open("w") as file:
        file.write("G21G90\nM4S0F4000\nG1X0Y0\n")
        for number, place in enumerate(places.tolist()):
            odd = "Z0" if irregular_every and number % irregular_every == 0 else ""
            file.write(f"X{place:.3f}Y{number // 2000 * 0.1:.3f}S{number % 2 * 500}{odd}\n")
        file.write("M5\nM2\n")


def malformed(path):
    path.write_text("".join(f"G1X{n}..{n}\n" for n in range(LINES)))


def arcs(path):
    turns = (f"G0X{60 + n % 40}\nG3X{60 + n % 40}Y50I-{10 + n % 40}J0\n" for n in range(5000))
    path.write_text("G21G90\nM4S500F5000\nG0X60Y50\n" + "".join(turns) + "M5\nM2\n")


FILES = [
    ("regular raster", raster),
    ("ten times that", lambda path: raster(path, repeats=10)),
    ("absolute, all different", lambda path: absolute(path, 0)),
    ("every tenth irregular", lambda path: absolute(path, 10)),
    ("every line irregular", lambda path: absolute(path, 1)),
    ("every line malformed", malformed),
    ("arcs, 1.5 million chords", arcs),
]


def test_preflight_of_a_million_lines(tmp_path):
    print(f"\n{'preflight':<28} {'lines':>8} {'cpu s':>8} {'MB':>8}")
    for name, write in FILES:
        path = tmp_path / "job.gcode"
        write(path)
        done = subprocess.run(
            [sys.executable, "-c", MEASURED, path], capture_output=True, text=True, check=True
        )
        print(f"{name:<26} {done.stdout}", end="")
