"""What one photo over 6 × 8 tiles of 100 mm at 0.1 mm costs, and parts of it. Prints tables.

Each is a process of its own, started as a person starts it; its decoder's is counted with it.
"""

import resource
import subprocess
import sys
import time
from dataclasses import replace

import pytest

from etchweb.drafts.decoration import Decoration
from etchweb.drafts.store import PHOTO_NAME, Drafts
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES, PRACTICE_RECORDS
from measure.photo_cost_test import picture_of, show, together, tree

pytestmark = pytest.mark.measure

ON_PAGE = """
import sys
from etchweb.workers.work import LONG_WORKER
from etchwire.children.child_process import ChildProcess

ChildProcess(LONG_WORKER, {"verb": "mural", "folder": sys.argv[1]}).run(lambda share: None)
"""
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


def cost_on_page(folder, columns, rows, **decided):
    """Make a draft's mural in the page's child, within its limits; return its cost."""
    name = "practice-20w"
    drafts = Drafts(folder / f"{columns} by {rows}")
    draft = replace(
        drafts.begin("photo.jpg"), width_mm=100.0, height_mm=100.0, wall=(columns, rows, 3.0),
        crop=(0.0, 0.0, 1.0, 1.0), head=PRACTICE_HEADS[name], recipe=PRACTICE_RECIPES[name],
        **decided,
    )  # fmt: skip
    drafts.keep(draft)
    picture_of(48).save(drafts.folder_of(draft.id) / PHOTO_NAME, "JPEG", quality=90)
    cost = cost_of([drafts.folder_of(draft.id)], ("-c", ON_PAGE))
    corners = 4  # white outside an oval, they have no job
    assert len(drafts.found(draft).tiles) >= columns * rows - corners
    return cost


ADDED = Decoration(text="Harbour, 1 May", shape="oval", soft_mm=40.0, line_mm=3.0)
OTHERS = {"fade": 60, "face_light": 50, "oval": (0.5, 0.5, 0.2, 0.2), "shades": ((5, -2.0),)}


@pytest.mark.parametrize(
    ("words", "decided"),
    [
        ("plain", {}),
        ("with lettering, oval, soft edge, retouching and a darker tile",
         {"decoration": ADDED, **OTHERS}),
    ],
)  # fmt: skip
def test_a_mural_made_on_the_page(tmp_path, words, decided):
    """With the pictures that the page shows."""
    spent_s, peak_mb = cost_on_page(tmp_path, 6, 8, **decided)

    told = f"6 × 8 tiles of 1000 × 1000 dots on the page, {words}"
    show([(told, f"{spent_s:.0f} s, {peak_mb:.0f} MB", "bar: 180 s, 300 MB")])


def test_a_mural_whose_dots_are_searched_for_on_the_page(tmp_path):
    """Four tiles and eight: what a tile more takes tells of 48, which take too long to measure."""
    record = PRACTICE_RECORDS["practice-20w"].to_table()
    decided = {"halftone": "test-card", "tone": record}
    four_s, _ = cost_on_page(tmp_path, 2, 2, **decided)
    eight_s, peak_mb = cost_on_page(tmp_path, 4, 2, **decided)

    a_tile_s = (eight_s - four_s) / 4
    show([
        ("4 tiles of 1000 × 1000 dots from the test card, on the page", f"{four_s:.0f} s", ""),
        ("8 such tiles", f"{eight_s:.0f} s, {peak_mb:.0f} MB", "bar: 300 MB"),
        ("48 such tiles, reckoned from these", f"{four_s + 44 * a_tile_s:.0f} s", "bar: 180 s"),
    ])  # fmt: skip


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
