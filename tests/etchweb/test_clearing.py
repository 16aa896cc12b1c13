"""What the page throws away, and what it never does."""

import os

from etchweb.clearing import clear_out
from etchwire.retention import DAY_S, EARLIEST_S, PICTURES, TEST_TILES, TILE_PHOTOS

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
        ("test-tiles/card-{}", TEST_TILES.spared),
    )
    for name, spared in kinds:
        for number in range(spared + 2):
            put(tmp_path / name.format(number), OLD_S + number)

    clear_out(tmp_path, now_s=NOW_S)

    for name, spared in kinds:
        assert [(tmp_path / name.format(number)).exists() for number in range(spared + 2)] == [
            False, False, *[True] * spared,
        ]  # fmt: skip


def test_the_pictures_of_one_job_go_together(tmp_path):
    for number in range(PICTURES.spared + 1):
        for ending in (".png", "-small.jpg", "-path.png"):
            put(tmp_path / f"pictures/{number:064x}{ending}", OLD_S + number)

    clear_out(tmp_path, now_s=NOW_S)

    assert not list((tmp_path / "pictures").glob(f"{0:064x}*"))
    assert len(list((tmp_path / "pictures").iterdir())) == 3 * PICTURES.spared


def test_records_drafts_and_what_nobody_knows_are_left_alone(tmp_path):
    names = ("page.sqlite3", "alerts.sqlite3", "drafts/0123456789abcdef", "pictures/mine.txt")
    kept = [put(tmp_path / name, OLD_S) for name in names]

    clear_out(tmp_path, now_s=NOW_S)

    assert all(path.exists() for path in kept)


def test_a_page_without_a_folder_has_nothing_to_clear(tmp_path):
    clear_out(tmp_path / "not there", now_s=NOW_S)
