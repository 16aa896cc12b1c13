"""What is thrown away: by age, number and size, with a clock that may be wrong; records never."""

import os

import pytest

from etchwire.retention import (
    DAY_S,
    DRAFTS,
    EARLIEST_S,
    JOBS,
    MB,
    PICTURES,
    TEST_TILES,
    TILE_PHOTOS,
    Allowance,
    Kept,
    look_at,
    surplus,
    throw_out,
)

NOW_S = EARLIEST_S + 700 * DAY_S
ALLOWED = Allowance(days=10, total_mb=10, number=5, spared=2)


def kept(*days_ago, size_mb=1):
    return [Kept((day,), NOW_S - day * DAY_S, size_mb * MB) for day in days_ago]


def gone(*args, now_s=NOW_S, **more):
    return [one.paths[0] for one in surplus(*args, ALLOWED, now_s=now_s, **more)]


@pytest.mark.parametrize(
    ("days_ago", "size_mb", "thrown_out"),
    [
        ((0, 1, 10), 1, []),
        ((0, 1, 10.1, 30), 1, [30, 10.1]),
        ((20, 30, 40), 1, [40]),  # the newest two stay, whatever their age
        ((0, 1, 2, 3, 4, 5, 6), 1, [6, 5]),
        ((0, 1, 2), 4, [2]),
        ((0, 1), 11, [1]),  # the newest stays, however large it is
    ],
)
def test_the_oldest_go_by_age_number_and_size(days_ago, size_mb, thrown_out):
    assert gone(kept(*days_ago, size_mb=size_mb)) == thrown_out


def test_what_is_needed_stays_and_counts():
    assert gone(kept(0, 1, 30, 40), needed=frozenset({40})) == [30]
    assert gone(kept(0, 1, 2, 3, 4, 5), needed=frozenset({5})) == []


@pytest.mark.parametrize("now_s", [0.0, NOW_S - 40 * DAY_S])
def test_a_clock_that_went_back_makes_nothing_old(now_s):
    assert gone(kept(0, 1, 2, 3), now_s=now_s) == []


def test_a_clock_that_jumped_ahead_takes_only_what_is_not_among_the_newest():
    assert gone(kept(0, 1, 2, 3), now_s=NOW_S + 30_000 * DAY_S) == [3, 2]


@pytest.mark.parametrize("stamp_s", [60.0, NOW_S + 30_000 * DAY_S])
def test_a_stamp_that_cannot_be_becomes_todays_once_the_clock_is_right(tmp_path, stamp_s):
    file = tmp_path / "made before the network came"
    file.write_bytes(b"12345")
    os.utime(file, (stamp_s, stamp_s))

    unset = look_at([file], now_s=100.0)
    right = look_at([file], now_s=NOW_S)

    assert unset.stamped_at_s == stamp_s
    assert (right.stamped_at_s, right.size_bytes) == (NOW_S, 5)
    assert file.stat().st_mtime == NOW_S


def test_files_and_folders_of_one_go_together(tmp_path):
    for name in ("new", "newer", "old"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "inside").write_text("x")
        (tmp_path / f"{name}.png").write_text("x")
    groups = [[tmp_path / name, tmp_path / f"{name}.png"] for name in ("new", "newer", "old")]
    for path in groups[2]:
        os.utime(path, (NOW_S - 30 * DAY_S,) * 2)
    for path in (*groups[0], *groups[1]):
        os.utime(path, (NOW_S, NOW_S))

    throw_out(groups, ALLOWED, now_s=NOW_S)

    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "new", "new.png", "newer", "newer.png",
    ]  # fmt: skip


@pytest.mark.parametrize("one", [JOBS, DRAFTS, PICTURES, TILE_PHOTOS, TEST_TILES])
def test_no_allowance_could_take_what_was_just_made(one):
    assert one.spared >= 2
    assert one.number > one.spared
    assert one.days >= 7
