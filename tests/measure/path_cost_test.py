"""What a preflight costs: processor seconds and resident memory, each in a process of its own."""

import random
import subprocess
import sys

import numpy as np
import pytest

from support.harnesses.gcode_bench import job_of
from support.samples.any_gcode import any_line

pytestmark = pytest.mark.measure

LINES = 1_000_000
MEASURED = """
import re, sys, time
from pathlib import Path
from etchpath.preflight.inspected import inspect_file

before_s = time.process_time()
report = inspect_file(Path(sys.argv[1]))
spent_s = time.process_time() - before_s
status = Path("/proc/self/status").read_text()  # getrusage would tell the parent's peak
peak_mb = int(re.search(r"VmHWM:\\s+(\\d+)", status)[1]) / 1024
print(f"{report.lines:>10} {spent_s:>8.2f} {peak_mb:>8.0f}   {report.verdict}")
"""


BEGIN = "G21G90\nM4S0F4000\nG1X0Y0\n"
END = "M5\nM2\n"
ENDS = ["\n"] * 6 + ["\r\n", "(a word)\n", " ; and more\n"]
ODD_WORDS = [  # one of each modal group at most, so that every line can be run
    lambda chance: chance.choice(["G0", "G1", "G01", "g1.0"]),
    lambda chance: chance.choice(["G17", "g17"]),
    lambda chance: chance.choice(["G90", "G 90"]),
    lambda chance: chance.choice(["G21", "G021"]),
    lambda chance: chance.choice(["G94", "G 94"]),
    lambda chance: chance.choice(["G40", "G49", "G54", "G61", "G91.1"]),
    lambda chance: chance.choice(["M4", "M04", "M5"]),
    lambda chance: chance.choice(["M8", "M9"]),
    lambda chance: f"F{chance.randrange(600, 6000)}",
    lambda chance: f"S{chance.uniform(0, 1000):.{chance.randrange(3)}f}",
    lambda chance: f"Z{chance.choice(['0', '-0', '.000'])}",
    lambda chance: f"T{chance.randrange(9)}",
    lambda chance: f"N{chance.randrange(10**6)}",
]


def raster(path, repeats=1):
    gcode, sheet = job_of(np.random.default_rng(1).random((840, 2400)) < 0.5)
    rows = gcode[sheet.index[0].byte : -len(b"M5\nG90G0X0Y0\nM2\n")]
    with path.open("wb") as file:
        file.write(gcode[: sheet.index[0].byte])
        for _ in range(repeats):
            file.write(rows)
        file.write(b"M5\nG90G0X0Y0\nM2\n")


def places_mm():
    """Places to and fro along x, each a tenth of a millimetre or so from the last."""
    rng = np.random.default_rng(2)
    steps = 0.1 + 0.05 * rng.random(LINES)
    x_mm = np.abs((np.cumsum(steps) + 190) % 380 - 190)
    return enumerate(x_mm.tolist())


def absolute(path):
    """Absolute lines with three decimals, nearly all different."""
    with path.open("w") as file:
        file.write(BEGIN)
        for number, x_mm in places_mm():
            file.write(f"X{x_mm:.3f}Y{number // 2000 * 0.1:.3f}S{number % 2 * 500}\n")
        file.write(END)


def irregular(path):
    """Lines that all run, no two alike: words in any order, of all the codes that may stand."""
    chance = random.Random(3)
    with path.open("w") as file:
        file.write(BEGIN)
        for number, x_mm in places_mm():
            words = [word(chance) for word in ODD_WORDS if chance.random() < 0.2]
            words += [f"X{x_mm:.{chance.randrange(2, 7)}f}", f"y+0{number // 2000 * 0.1:.3f}"]
            chance.shuffle(words)
            file.write(chance.choice(["", " ", "\t"]).join(words) + chance.choice(ENDS))
        file.write(END)


def anything(path):
    """Lines of the language's words at random, of which hardly one can be run."""
    chance = random.Random(4)
    text = "".join(f"{any_line(chance)}\n" for _ in range(LINES))
    path.write_bytes(text.translate({ord("\0"): None, ord("%"): None}).encode("latin-1"))


def malformed(path):
    path.write_text("".join(f"G1X{n}..{n}\n" for n in range(LINES)))


def arcs(path):
    turns = (f"G0X{60 + n % 40}\nG3X{60 + n % 40}Y50I-{10 + n % 40}J0\n" for n in range(5000))
    path.write_text("G21G90\nM4S500F5000\nG0X60Y50\n" + "".join(turns) + "M5\nM2\n")


FILES = [
    ("regular raster", raster),
    ("ten times that", lambda path: raster(path, repeats=10)),
    ("absolute, all different", absolute),
    ("every line irregular", irregular),
    ("any words at all", anything),
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
