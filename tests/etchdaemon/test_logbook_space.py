"""How much room there is, and what is refused when there is little."""

import pytest

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.logbook.backup.space import (
    LEAST_BYTES,
    LOW_BYTES,
    STALE_AFTER_S,
    SeenRoom,
    Space,
    as_size,
    low_sentence,
)
from support.harnesses.logbooks import LONG_S, OPENED_UTC, NamedLogbook, start_run


@pytest.mark.parametrize(
    ("size_bytes", "said"),
    [(0, "0.0 MB"), (9_940_000, "9.9 MB"), (30_000_000, "30 MB"), (12_340_000_000, "12.3 GB")],
)
def test_a_size_is_said_as_people_say_it(size_bytes, said):
    assert as_size(size_bytes) == said


@pytest.mark.parametrize(
    ("free_bytes", "said"),
    [
        (None, "is not known just now"),
        (LOW_BYTES, None),
        (LOW_BYTES - 1, "Make room soon: below 30 MB nothing is started."),
        (LEAST_BYTES, "Make room soon"),
        (LEAST_BYTES - 1, "nothing is started. Make room."),
        (0, "Only 0.0 MB are free"),
    ],
)
def test_people_are_told_when_room_is_short(free_bytes, said):
    sentence = low_sentence(free_bytes)

    assert said in sentence if said else sentence is None


def test_the_room_of_a_folder_is_asked_of_the_system(tmp_path):
    assert Space(tmp_path).free_bytes() > 0
    assert Space(tmp_path / "not there").free_bytes() is None
    Space(tmp_path / "not there").require_room()


class Disk:
    """A folder of which a test says how much room it has."""

    free = 100

    def free_bytes(self):
        return self.free


def test_a_figure_that_nobody_has_looked_after_for_long_is_none():
    now_s = 1000.0
    disk = Disk()
    room = SeenRoom(disk, now_s=lambda: now_s)
    assert room.free_bytes is None

    room.look()
    disk.free = 50
    assert room.free_bytes == 100
    now_s += STALE_AFTER_S
    assert room.free_bytes == 100
    now_s += 0.1
    assert room.free_bytes is None

    room.look()
    assert room.free_bytes == 50


def test_a_start_is_refused_where_its_run_could_not_be_recorded_to_the_end(tmp_path, monkeypatch):
    path = tmp_path / "logbook.sqlite3"
    with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S) as logbook:
        monkeypatch.setattr(logbook._backups.space, "free_bytes", lambda: LEAST_BYTES - 1)
        with pytest.raises(LogbookUnavailable, match="nothing is started"):
            start_run(logbook)

        monkeypatch.setattr(logbook._backups.space, "free_bytes", lambda: LEAST_BYTES)
        assert start_run(logbook) == 1
