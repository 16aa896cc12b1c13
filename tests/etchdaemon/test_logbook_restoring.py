"""A backup put in the logbook's place: all of it, or nothing changed."""

import os
import shutil
import sqlite3
from contextlib import closing

import pytest

from etchdaemon.errors import BackupFailed
from etchdaemon.logbook.backup.backup import copy_logbook, look_at
from etchdaemon.logbook.backup.restoring import restore
from etchdaemon.logbook.backup.sums import sum_path
from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.logbook.schema.steps import MIGRATIONS, version_of
from support.harnesses.logbooks import (
    END,
    EVENT,
    LONG_S,
    OPENED_UTC,
    NamedLogbook,
    row_of,
    start_run,
)


def logbook_of(path, *titles, ends=True):
    path.parent.mkdir(exist_ok=True)
    with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S) as logbook:
        for title in titles:
            run = start_run(logbook, title=title)
            logbook.note_rows(run, [row_of(number) for number in range(50)])
            logbook.confirm_event(run, **EVENT)
            if ends:
                logbook.end_run(run, **END)
    return path


def backup_of(path, target):
    with closing(open_logbook(path, at_utc=OPENED_UTC)[0]) as book:
        return copy_logbook(book, target, between=lambda _: None).path


def record_of(path):
    with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S) as logbook:
        return logbook.ask("runs", before=None, limit=10)


def titles_in(path):
    return [run["title"] for run in record_of(path)["runs"]]


@pytest.fixture
def backup(tmp_path):
    return backup_of(logbook_of(tmp_path / "old" / "l.sqlite3", "old"), tmp_path / "b.sqlite3")


@pytest.fixture
def logbook(tmp_path):
    return logbook_of(tmp_path / "state" / "logbook.sqlite3", "newer", "newest")


def test_what_the_backup_held_is_the_logbook_and_the_other_is_kept(backup, logbook):
    restored = restore(backup, logbook, at_utc=OPENED_UTC)

    aside = restored.aside
    assert (restored.backup.runs, restored.is_as_written) == (1, True)
    assert titles_in(logbook) == ["old"]
    assert "Restored from b.sqlite3." in [note["text"] for note in record_of(logbook)["notes"]]
    assert aside.name == "logbook.replaced-20261126T080000.sqlite3"
    assert titles_in(aside) == ["newest", "newer"]
    assert backup.exists()


def test_a_logbook_that_is_not_there_is_restored_all_the_same(backup, tmp_path):
    (tmp_path / "state").mkdir()

    logbook = tmp_path / "state" / "logbook.sqlite3"
    restored = restore(backup, logbook, at_utc=OPENED_UTC)

    assert restored.aside is None
    assert titles_in(logbook) == ["old"]


def test_a_damaged_logbook_s_own_wal_never_meets_the_restored_one(backup, logbook):
    logbook.write_bytes(b"no database at all" * 100)
    wal = logbook.with_name(logbook.name + "-wal")
    wal.write_bytes(b"what came last")

    aside = restore(backup, logbook, at_utc=OPENED_UTC).aside

    assert titles_in(logbook) == ["old"]
    assert aside.read_bytes() == b"no database at all" * 100
    assert aside.with_name(aside.name + "-wal").read_bytes() == b"what came last"


def test_a_card_s_raw_logbook_is_restored_with_what_its_wal_holds(logbook, tmp_path):
    book, _ = open_logbook(logbook, at_utc=OPENED_UTC)
    book.execute("INSERT INTO logbook_note (at_utc, text) VALUES ('then', 'in the WAL alone')")
    for suffix in ("", "-wal"):  # as a power cut leaves them
        shutil.copyfile(f"{logbook}{suffix}", f"{tmp_path / 'raw.sqlite3'}{suffix}")
    book.close()

    restore(tmp_path / "raw.sqlite3", logbook, at_utc=OPENED_UTC)

    assert "in the WAL alone" in [note["text"] for note in record_of(logbook)["notes"]]


def test_a_run_that_was_under_way_in_the_backup_says_that_its_end_is_lost(tmp_path, logbook):
    path = logbook_of(tmp_path / "old" / "l.sqlite3", "half", ends=False)
    backup = backup_of(path, tmp_path / "b.sqlite3")

    restore(backup, logbook, at_utc=OPENED_UTC)

    (run,) = record_of(logbook)["runs"]
    assert run["ended"] == "failed"
    assert "backup that was restored was made during this run" in run["because"]


@pytest.mark.parametrize("version", range(1, len(MIGRATIONS)))
def test_an_older_program_s_backup_is_brought_to_the_newest_version(tmp_path, logbook, version):
    path = tmp_path / "b.sqlite3"
    with closing(sqlite3.connect(path, isolation_level=None)) as book:
        for statements in MIGRATIONS[:version]:
            for statement in statements:
                book.execute(statement)
        book.execute(f"PRAGMA user_version = {version}")

    restore(path, logbook, at_utc=OPENED_UTC)

    with closing(sqlite3.connect(logbook)) as book:
        assert version_of(book) == len(MIGRATIONS)


def absent(path):
    path.unlink()


def cut_short(path):
    os.truncate(path, 9000)


def worn(path):
    with path.open("r+b") as file:
        file.seek(4096 * 2)
        file.write(b"\xa5" * 4096)


def short_of_one_byte(path):
    os.truncate(path, path.stat().st_size - 1)


def longer(path):
    with path.open("ab") as file:
        file.write(b"more")


def nameless(path):
    """Make a table's name something that is no text: SQLite quotes it in its message."""
    content = path.read_bytes()
    path.write_bytes(content.replace(b"CREATE TABLE run_row (", b"CREATE TABLE \xb1\xb1n_row ("))


def empty(path):
    path.write_bytes(b"")


def without_tables(path):
    path.unlink()
    with closing(sqlite3.connect(path)) as book:
        book.execute("PRAGMA journal_mode = WAL")


def newer(path):
    with closing(sqlite3.connect(path)) as book:
        book.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")


def another_s(path):
    with closing(sqlite3.connect(path)) as book:
        book.execute("PRAGMA application_id = 7")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (absent, "There is no file"),
        (cut_short, "does not hold together"),
        (short_of_one_byte, "is damaged or no logbook"),
        (longer, "its end was cut or written over"),
        (worn, "does not hold together"),
        (nameless, "does not hold together"),
        (empty, "no logbook in it"),
        (without_tables, "no logbook in it"),
        (newer, "newer program"),
        (another_s, "another program"),
    ],
)
def test_a_backup_of_no_use_changes_nothing(backup, logbook, spoil, said):
    sum_path(backup).unlink()
    spoil(backup)
    before = logbook.read_bytes()

    with pytest.raises(BackupFailed, match=said) as refused:
        restore(backup, logbook, at_utc=OPENED_UTC)

    assert str(backup) in str(refused.value)
    assert logbook.read_bytes() == before
    assert [path.name for path in logbook.parent.iterdir() if path.is_file()] == [logbook.name]


def changed_letter(path):
    """Change a letter within a text: everything holds together as before."""
    content = path.read_bytes()
    path.write_bytes(content.replace(b"old", b"odd", 1))
    look_at(path)


def of_another_backup(path):
    sum_path(path).write_text(f"{'0' * 64}  {path.name}\n")


def empty_sum(path):
    sum_path(path).write_text("")


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (changed_letter, "has changed since it was written"),
        (of_another_backup, "has changed since it was written"),
        (longer, "has changed since it was written"),
        (empty_sum, "cannot be told"),
    ],
)
def test_a_backup_that_is_not_as_it_was_written_changes_nothing_unless_its_sum_is_removed(
    backup, logbook, spoil, said
):
    spoil(backup)
    before = logbook.read_bytes()

    with pytest.raises(BackupFailed, match=said) as refused:
        restore(backup, logbook, at_utc=OPENED_UTC)

    assert f"{backup.name}.sha256" in str(refused.value)
    assert "remove" in str(refused.value)
    assert logbook.read_bytes() == before
    assert [path.name for path in logbook.parent.iterdir() if path.is_file()] == [logbook.name]


def test_an_older_program_s_backup_has_no_sum_and_is_restored_all_the_same(backup, logbook):
    sum_path(backup).unlink()

    assert not restore(backup, logbook, at_utc=OPENED_UTC).is_as_written


def test_a_logbook_that_is_open_is_not_replaced(backup, logbook):
    book, _ = open_logbook(logbook, at_utc=OPENED_UTC)

    with pytest.raises(BackupFailed, match="in use"):
        restore(backup, logbook, at_utc=OPENED_UTC)

    book.close()
    assert titles_in(logbook) == ["newest", "newer"]


@pytest.mark.parametrize("step", ["link", "replace"])
def test_a_disk_that_fails_in_the_middle_leaves_the_old_logbook(backup, logbook, monkeypatch, step):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(
        *{"link": ("os.link", full), "replace": ("pathlib.Path.replace", full)}[step]
    )

    with pytest.raises(BackupFailed, match="no room left"):
        restore(backup, logbook, at_utc=OPENED_UTC)

    monkeypatch.undo()
    assert titles_in(logbook) == ["newest", "newer"]
    assert list(logbook.parent.glob(".restoring*")) == []
