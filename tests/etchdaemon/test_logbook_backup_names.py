"""Which backups are kept and when the next is due: by number, whatever the clock said."""

from datetime import datetime

import pytest

from etchdaemon.logbook.backup.names import (
    KEPT,
    BackupName,
    is_due,
    next_name,
    read_names,
    surplus,
)

NOON = datetime(2026, 11, 25, 12)  # noqa: DTZ001 - all of it is UTC


def kept(*moments):
    return [BackupName(number, at) for number, at in enumerate(moments, start=1)]


def test_a_name_is_read_as_it_was_written():
    name = BackupName(12, datetime(2026, 11, 25, 3, 0, 7))  # noqa: DTZ001

    assert str(name) == "logbook-000012-20261125T030007.sqlite3"
    assert read_names([str(name)]) == [name]


@pytest.mark.parametrize(
    "name",
    [
        ".arriving-logbook-000012-20261125T030007.sqlite3",
        "logbook-000012-20261125T030007.sqlite3-journal",
        "logbook-000012-20261325T030007.sqlite3",
        "logbook-12-20261125T030007.sqlite3",
        "my own copy.sqlite3",
    ],
)
def test_what_is_named_otherwise_is_nobody_s_to_count_or_remove(name):
    assert read_names([name]) == []


def test_the_numbers_go_on_where_a_clock_jumped_back():
    night = datetime(1970, 1, 1, 0, 0, 12, 345)  # noqa: DTZ001

    name = next_name(kept(NOON), night)

    assert name == BackupName(2, night.replace(microsecond=0))
    assert read_names([str(name), str(kept(NOON)[0])])[-1] == name


@pytest.mark.parametrize(
    ("last", "now", "due"),
    [
        (None, "2026-11-25T12:00:00", True),
        ("2026-11-25T03:00:00", "2026-11-25T23:59:59", False),
        ("2026-11-25T03:00:00", "2026-11-26T02:59:59", False),
        ("2026-11-25T03:00:00", "2026-11-26T03:00:00", True),
        ("2026-11-25T02:59:59", "2026-11-25T03:00:00", True),  # begun late in the night before
        ("1970-01-01T04:00:00", "2026-11-25T12:00:00", True),  # the clock was set
        ("2026-11-25T12:00:00", "1970-01-01T04:00:00", True),  # the clock was lost
        ("1970-01-01T00:00:30", "1970-01-01T00:10:00", False),
    ],
)
def test_a_backup_is_due_once_a_night(last, now, due):
    had = [] if last is None else kept(datetime.fromisoformat(last))

    assert is_due(had, datetime.fromisoformat(now)) is due


@pytest.mark.parametrize("count", [0, 1, KEPT, KEPT + 1, KEPT + 3])
def test_the_newest_seven_are_kept(count):
    had = kept(*[NOON] * count)

    assert surplus(had) == had[: max(0, count - 7)]
