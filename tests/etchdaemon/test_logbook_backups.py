"""Backups of a logbook that is being written: complete, sound, seven, and never in the way."""

import os
import sqlite3
import threading
import time
from contextlib import closing

import pytest

from etchdaemon.errors import BackupFailed, LogbookUnavailable
from etchdaemon.logbook.backup import backups as backups_module
from etchdaemon.logbook.backup.backup import copy_logbook, look_at
from etchdaemon.logbook.backup.backups import Backups
from etchdaemon.logbook.backup.sums import is_as_written
from etchdaemon.logbook.schema.steps import MIGRATIONS
from support.harnesses.logbooks import EVENT, LONG_S, OPENED_UTC, NamedLogbook, row_of, start_run

NIGHT_UTC = "2026-11-26T03:10:00Z"


@pytest.fixture
def logbook(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    with NamedLogbook.at(path, utc_now=lambda: OPENED_UTC, confirm_timeout_s=LONG_S) as logbook:
        yield logbook


@pytest.fixture
def keep(logbook, tmp_path):
    """Make the backups of the logbook, all ended with the test."""
    made = []

    def keep(utc_now=lambda: NIGHT_UTC, **more):
        backups = Backups(logbook._lend, tmp_path / "backups", utc_now=utc_now, **more)
        backups.start()
        made.append(backups)
        return backups

    yield keep
    for backups in made:
        backups.close()


def until(holds):
    deadline_s = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < deadline_s
        time.sleep(0.005)


def make(backups):
    backups.begin()
    until(lambda: backups.state().share is None)
    return backups.state()


def texts(path):
    with closing(sqlite3.connect(path)) as book:
        return [text for (text,) in book.execute("SELECT text FROM run_event ORDER BY id")]


class RecordedTurn:
    """The turn, and who took it and let it go, by turns."""

    def __init__(self, order):
        self.lock, self._order = threading.Lock(), order

    def acquire(self):
        self.lock.acquire()
        self._order.append(threading.current_thread().name)

    def release(self):
        self._order.append(threading.current_thread().name)
        self.lock.release()

    def __enter__(self):
        self.acquire()

    def __exit__(self, *_):
        self.release()


def fill(logbook, rows):
    run = start_run(logbook)
    logbook.note_rows(run, [row_of(number) for number in range(rows)])
    logbook.confirm_event(run, **EVENT)
    return run


def test_a_backup_is_one_sound_file_with_everything_that_was_written(logbook, keep, tmp_path):
    fill(logbook, 500)

    state = make(keep())

    assert state.trouble is None
    assert [entry.at_utc for entry in state.kept] == ["2026-11-26T03:10:00Z"]
    path = tmp_path / "backups" / state.kept[0].name
    found = look_at(path)
    assert (found.version, found.runs) == (len(MIGRATIONS), 1)
    assert path.name == "logbook-000001-20261126T031000.sqlite3"
    assert is_as_written(path)
    with closing(sqlite3.connect(path)) as book:
        assert book.execute("SELECT count(*) FROM run_row").fetchone() == (500,)
        assert book.execute("PRAGMA journal_mode").fetchone() == ("delete",)


@pytest.mark.slow
def test_what_is_written_while_the_backup_is_made_is_in_it_and_does_not_wait(
    logbook, keep, tmp_path, monkeypatch
):
    monkeypatch.setattr(backups_module, "PAUSE_S", 0.001)
    run = fill(logbook, 20_000)
    backups = keep()

    backups.begin()
    written = 0
    while backups.state().share is not None:
        logbook.confirm_event(run, **(EVENT | {"text": f"meanwhile {written}"}))
        written += 1

    (path,) = (tmp_path / "backups").glob("*.sqlite3")
    found = texts(path)[1:]
    assert found == [f"meanwhile {number}" for number in range(len(found))]
    assert 0 < len(found) <= written
    assert look_at(path).runs == 1


@pytest.mark.slow
def test_steps_writes_and_questions_take_turns_and_between_steps_it_is_nobody_s(logbook, tmp_path):
    """A question's value, bound during a step, would wait for SQLite with Python's lock held."""
    run, order, steps = fill(logbook, 5000), [], []
    book = logbook._lend()
    book.turn = RecordedTurn(order)

    def write_and_ask_between(share):
        assert not book.turn.lock.locked()
        steps.append(share)
        logbook.confirm_event(run, **EVENT)
        logbook.ask("run", id=run)

    copy_logbook(book, tmp_path / "copy.sqlite3", between=write_and_ask_between)

    assert len(steps) > 1
    assert order.count("logbook") == 4 * len(steps)  # each took it twice and let it go twice
    assert set(order) == {"MainThread", "logbook"}
    assert order[0::2] == order[1::2]  # whoever takes it lets it go before anybody else takes it


def test_the_room_is_looked_at_while_a_backup_is_copied(logbook, keep, monkeypatch):
    fill(logbook, 5000)
    backups = keep()
    shares = set()
    monkeypatch.setattr(backups.room, "look", lambda: shares.add(backups.state().share))

    make(backups)

    assert len(shares - {None, 0.0}) > 1


def test_seven_are_kept_and_the_oldest_goes_first(logbook, keep, tmp_path):
    fill(logbook, 1)
    backups = keep()

    for _ in range(9):
        state = make(backups)

    numbers = [int(entry.name.split("-")[1]) for entry in state.kept]
    assert numbers == [9, 8, 7, 6, 5, 4, 3]
    names = {entry.name for entry in state.kept}
    sums = {f"{name}.sha256" for name in names}
    assert {path.name for path in (tmp_path / "backups").iterdir()} == names | sums


def test_one_is_made_at_night_without_being_asked_for_and_no_second(logbook, keep):
    fill(logbook, 1)

    backups = keep(first_after_s=0.0)
    until(lambda: backups.state().kept and backups.state().share is None)

    assert backups.last_at_utc == NIGHT_UTC
    assert not backups._is_due()


@pytest.mark.parametrize("clock", ["1970-01-01T00:00:12Z", "2026-11-26T03:10:00+00:00"])
def test_a_backup_needs_no_clock_that_is_right(logbook, keep, clock):
    fill(logbook, 1)
    backups = keep(utc_now=lambda: clock)
    make(backups)

    state = make(backups)

    assert [entry.name.split("-")[1] for entry in state.kept] == ["000002", "000001"]


def test_a_backup_that_fails_says_why_and_leaves_nothing(logbook, keep, tmp_path):
    fill(logbook, 1)
    (tmp_path / "backups").write_text("in the way")

    state = make(keep())

    assert state.trouble.startswith("No backup was made: ")
    assert "File exists" in state.trouble
    assert (tmp_path / "backups").read_text() == "in the way"


def test_without_room_the_oldest_make_room_and_the_last_one_stays(
    logbook, keep, tmp_path, monkeypatch
):
    fill(logbook, 1)
    backups = keep()
    for _ in range(3):
        make(backups)
    monkeypatch.setattr(backups.space, "free_bytes", lambda: 1_000_000)

    state = make(backups)

    assert state.trouble.startswith("No backup was made: it needs 30 MB, and 1.0 MB are free")
    assert [entry.name.split("-")[1] for entry in state.kept] == ["000003"]


def test_a_leftover_of_a_power_cut_is_cleared_away(logbook, keep, tmp_path):
    fill(logbook, 1)
    (tmp_path / "backups").mkdir()
    name = "logbook-000001-20261125T030000.sqlite3"
    for leftover in (f".arriving-{name}", f"{name}.sha256"):
        (tmp_path / "backups" / leftover).write_bytes(b"half of it")

    keep()

    assert list((tmp_path / "backups").iterdir()) == []


@pytest.mark.slow
def test_a_daemon_that_ends_gives_a_backup_up(logbook, tmp_path, monkeypatch):
    monkeypatch.setattr(backups_module, "PAUSE_S", LONG_S)
    fill(logbook, 5000)
    backups = Backups(logbook._lend, tmp_path / "backups", utc_now=lambda: NIGHT_UTC)
    backups.start()
    backups.begin()
    until(lambda: backups.state().share)

    backups.close()

    assert list((tmp_path / "backups").iterdir()) == []
    assert backups.trouble == "The control program ended while a backup was made."


def test_a_damaged_logbook_is_never_taken_for_a_backup(logbook, tmp_path):
    fill(logbook, 2000)
    book = logbook._lend()
    harm = threading.Event()

    def damage(share):
        if share == 1.0:  # all of it is in the file now
            harm.set()
            arriving = next(tmp_path.glob(".arriving-*"))
            with arriving.open("r+b") as file:
                file.seek(4096 * 8)
                file.write(os.urandom(4096 * 8))

    with pytest.raises(BackupFailed, match=r"damaged|malformed"):
        copy_logbook(book, tmp_path / "copy.sqlite3", between=damage)

    assert harm.is_set()
    assert list(tmp_path.glob("*copy*")) == []


def not_there(_path):
    pass


def text(path):
    path.write_text("no database at all " * 100)


def empty(path):
    path.touch()


def another_s(path):
    with closing(sqlite3.connect(path)) as book:
        book.execute("CREATE TABLE run (id)")


def newer(path):
    with closing(sqlite3.connect(path)) as book:
        for statement in MIGRATIONS[0]:
            book.execute(statement)
        book.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")


def folder(path):
    path.mkdir()


@pytest.mark.parametrize(
    ("make_it", "said"),
    [
        (not_there, "There is no file"),
        (folder, "There is no file"),
        (text, "damaged or no logbook: it is no database"),
        (empty, "damaged or no logbook"),
        (another_s, "another program"),
        (newer, "written by a newer program"),
    ],
)
def test_what_is_no_backup_of_ours_is_told_from_one(tmp_path, make_it, said):
    path = tmp_path / "logbook.sqlite3"
    make_it(path)

    with pytest.raises(BackupFailed, match=said):
        look_at(path)


def test_backups_are_asked_for_like_any_question(logbook, tmp_path):
    fill(logbook, 1)

    logbook.ask("backup")
    until(lambda: logbook.ask("backups")["share"] is None)

    assert len(logbook.ask("backups")["kept"]) == 1
    assert logbook.ask("backups")["folder"] == str(tmp_path / "backups")
    assert logbook.storage.last_backup_at_utc == "2026-11-26T08:00:00Z"
    assert logbook.storage.backup_trouble is None


def test_a_logbook_without_a_folder_keeps_none(tmp_path):
    def closed():
        raise LogbookUnavailable("Not now.")

    with (
        NamedLogbook(closed, utc_now=lambda: OPENED_UTC) as logbook,
        pytest.raises(LogbookUnavailable, match="No backups are kept"),
    ):
        logbook.ask("backup")
