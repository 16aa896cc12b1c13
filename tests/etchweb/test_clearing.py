"""What the page throws away, and what it never does."""

import os
import signal
import subprocess
import sys

import pytest

from etchweb.storage.retention import clear_out
from etchwire.retention import DAY_S, EARLIEST_S, PICTURES, TEST_TILES, TILE_PHOTOS
from support.samples.photo_files import encoded, scene

NOW_S = EARLIEST_S + 3000 * DAY_S
OLD_S = NOW_S - 2000 * DAY_S


def put(path, at_s):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"x")
    os.utime(path, (at_s, at_s))
    return path


def test_old_pictures_photos_and_files_of_test_tiles_go_but_for_the_newest_few(tmp_path):
    kinds = (
        ("pictures/{:064x}.png", PICTURES.spared),
        ("pictures/tile-{:064x}.jpg", TILE_PHOTOS.spared),
        ("test-tiles/card-{}/made.json", TEST_TILES.spared),
    )
    for name, spared in kinds:
        for number in range(spared + 2):
            put(tmp_path / name.format(number), OLD_S + number)

    clear_out(tmp_path, now_s=NOW_S)

    for name, spared in kinds:
        assert [(tmp_path / name.format(number)).exists() for number in range(spared + 2)] == [
            False, False, *[True] * spared,
        ]  # fmt: skip


def test_what_was_read_where_on_test_cards_stays_for_ever(tmp_path):
    for number in range(TEST_TILES.number + 2):
        for name in ("made.json", f"read-{number:016x}.jpg", f"read-{number:016x}-thumb.jpg"):
            put(tmp_path / f"test-tiles/card-{number}/{name}", OLD_S + number)
    put(tmp_path / "test-tiles/card-0/photos/photo-0", OLD_S)

    clear_out(tmp_path, now_s=NOW_S)

    left = {path.name for path in (tmp_path / "test-tiles/card-0").iterdir()}
    assert left == {f"read-{0:016x}.jpg", f"read-{0:016x}-thumb.jpg"}
    assert len(list((tmp_path / "test-tiles").glob("card-*/made.json"))) == TEST_TILES.spared
    assert len(list((tmp_path / "test-tiles").glob("card-*/read-*"))) == 2 * (TEST_TILES.number + 2)


def test_the_pictures_of_one_job_go_together(tmp_path):
    for number in range(PICTURES.spared + 1):
        for ending in (".png", "-small.jpg", "-thumb.jpg", "-path.png"):
            put(tmp_path / f"pictures/{number:064x}{ending}", OLD_S + number)

    clear_out(tmp_path, now_s=NOW_S)

    assert not list((tmp_path / "pictures").glob(f"{0:064x}*"))
    assert len(list((tmp_path / "pictures").iterdir())) == 4 * PICTURES.spared


CUT = """
import os, shutil, signal, sys
from pathlib import Path
from etchweb.previews.store import draw_path, keep_picture
from etchweb.storage.tile_photos import keep_tile_photo

def cut(event, _):
    if event == "os.rename":
        os.kill(os.getpid(), signal.SIGKILL)

sys.addaudithook(cut)
here, pictures = Path(sys.argv[1]), Path(sys.argv[1], "pictures")
"""
WAYS = {
    "a job's picture": "keep_picture(here / 'photo.png', folder=pictures, gcode_sha256='0' * 64)",
    "a job's way": "draw_path(here / 'job.gcode', folder=pictures, gcode_sha256='0' * 64)",
    "a tile's photo": (
        "keep_tile_photo(lambda to: shutil.copy(here / 'photo.png', to), pictures, called='it')"
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS)
def test_what_a_cut_left_half_written_goes_after_a_day(tmp_path, way):
    """Not before: a command may just be writing it."""
    (tmp_path / "photo.png").write_bytes(encoded(scene(60, 40), "PNG"))
    (tmp_path / "job.gcode").write_text("G21G90G94\nM4S0\nG0X1Y1\nG1X9F600S500\nM5\nM2\n")
    program = [sys.executable, "-B", "-c", CUT + WAYS[way], tmp_path]  # bytecode is renamed too
    done = subprocess.run(program, check=False)
    assert done.returncode == -signal.SIGKILL
    (left,) = (tmp_path / "pictures").iterdir()
    os.utime(left, (NOW_S, NOW_S))

    clear_out(tmp_path, now_s=NOW_S + DAY_S / 2)
    assert left.exists()

    clear_out(tmp_path, now_s=NOW_S + DAY_S + 1)
    assert not left.exists()


def test_records_drafts_and_what_nobody_knows_are_left_alone(tmp_path):
    names = ("page.sqlite3", "alerts.sqlite3", "drafts/0123456789abcdef", "pictures/mine.txt")
    kept = [put(tmp_path / name, OLD_S) for name in names]

    clear_out(tmp_path, now_s=NOW_S)

    assert all(path.exists() for path in kept)


def test_a_page_without_a_folder_has_nothing_to_clear(tmp_path):
    clear_out(tmp_path / "not there", now_s=NOW_S)
