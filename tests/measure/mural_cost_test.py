"""What one photo over 6 × 8 tiles of 100 mm at 0.1 mm costs, and half of it. Prints a table.

Each is a process of its own, started as a person starts it; its decoder's is counted with it.
"""

import resource
import subprocess
import sys
import time

import pytest

from measure.photo_cost_test import picture_of, show, together, tree

pytestmark = pytest.mark.measure

MURAL = """
format = "etchwarden-mural"
version = 1
name = "Harbour"

[wall]
columns = {columns}
rows = {rows}
tile_width_mm = 100
tile_height_mm = 100
joint_mm = 3

[photo]
crop = [0, 0, 1, {share}]
"""


def cost_of_mural(folder, columns, rows, share):
    """Prepare a mural; return its cost."""
    (folder / "wall.toml").write_text(MURAL.format(columns=columns, rows=rows, share=share))
    return cost_of(
        ["mural", folder / "wall.toml", folder / "photo.jpg", "-o", folder / f"{rows} rows"]
    )


def cost_of(words, program=("-m", "etchwarden")):
    """Run a program; return its seconds of processor and the most memory it had, in MB."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [sys.executable, *program, *words]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as job:
        peak_mb = 0.0
        while job.poll() is None:
            peak_mb = max(peak_mb, together(tree(job.pid)))
            time.sleep(0.01)
    assert job.returncode == 0
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, peak_mb


def test_a_mural_of_48_million_dots(tmp_path):
    picture_of(48).save(tmp_path / "photo.jpg", quality=90)
    rows = []
    for columns, tiles, share in ((6, 4, 0.5), (6, 8, 1.0)):
        spent_s, peak_mb = cost_of_mural(tmp_path, columns, tiles, share)
        rows.append(
            (
                f"{columns} × {tiles} tiles of 1000 × 1000 dots, 48 MP photo",
                f"{spent_s:.0f} s, {peak_mb:.0f} MB",
                "bar for 6 × 8: 180 s, 300 MB",
            )
        )

    show(rows)
