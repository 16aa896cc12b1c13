"""What a bench of twelve coasters of 90 mm at 0.1 mm costs, laid and prepared. Prints a table.

Each command is a process of its own, started as a person starts it; decoders are counted with it.
"""

import numpy as np
import pytest
from PIL import Image

from etchpath.machine import Machine
from etchpath.preflight.inspected import inspect_file
from etchwire.sheet import GCODE_NAME, read_sheet
from measure.mural_cost_test import cost_of
from measure.photo_cost_test import picture_of, show

pytestmark = pytest.mark.measure

JIG = """
format = "etchwarden-jig"
version = 1
name = "Coasters"

[pockets]
columns = 4
rows = 3
pitch_x_mm = 95
pitch_y_mm = 95
width_mm = 91
height_mm = 91

[corners]
lower_left_mm = [5.0, 5.0]
upper_right_mm = [381.0, 286.0]
"""
TILES = 12
PREPARE_ALL = """
import sys
from pathlib import Path
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import prepare_job
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES

name = "practice-20w"
order = PhotoOrder(head=PRACTICE_HEADS[name], recipe=PRACTICE_RECIPES[name], width_mm=90.0)
for photo in map(Path, sys.argv[1:]):
    prepare_job(photo, order, folder=photo.with_suffix(""))
"""


def test_a_bench_of_twelve_coasters(tmp_path):
    (tmp_path / "jig.toml").write_text(JIG)
    whole = np.asarray(picture_of(12))
    side = min(whole.shape[:2])
    photos = [tmp_path / f"{pocket}.jpg" for pocket in range(1, TILES + 1)]
    for number, photo in enumerate(photos):
        Image.fromarray(np.roll(whole[:side, :side], number * 100, axis=1)).save(photo, quality=90)

    made = cost_of(photos, ("-c", PREPARE_ALL))
    words = [f"{pocket}={photo.with_suffix('')}" for pocket, photo in enumerate(photos, 1)]
    laid = cost_of(["bench", "prepare", tmp_path / "jig.toml", *words, "-o", tmp_path / "bench"])
    single = cost_of(["prepare", photos[0], "-o", tmp_path / "single", "--width", "90"])

    sheet = read_sheet(tmp_path / "bench")
    report = inspect_file(
        tmp_path / "bench" / GCODE_NAME, machine=Machine.of_head(sheet.head).to_table()
    )
    assert report.verdict != "refused", report.findings
    assert len(sheet.parts) == TILES
    rows = (
        ("12 photos prepared in one process, decoders counted", made, ""),
        ("laid into one job by the command", laid, ""),
        ("together", (made[0] + laid[0], max(made[1], laid[1])), "bar: 20 s, 300 MB"),
        ("one photo by `prepare`, with its advice on other dots", single, ""),
    )
    show([(what, f"{seconds:.1f} s, {peak:.0f} MB", bar) for what, (seconds, peak), bar in rows])
    show([("the job", f"{sheet.gcode_lines:,} lines", f"{sheet.gcode_bytes / 1e6:.0f} MB")])
