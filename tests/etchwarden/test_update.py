"""`etchwarden update` as it is typed, and the copies it makes of the records."""

import socket
import sqlite3
import threading
from contextlib import closing

import pytest
from click.testing import CliRunner

from etchwarden.commands import update
from etchwarden.installation import board
from etchwarden.installation.errors import StepFailed
from etchwarden.installation.keeping import copy_records, put_back
from etchwarden.installation.paths import Places
from support.harnesses.install_bench import Bench, paper_wheel


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


@pytest.fixture
def run(bench):
    def run(*arguments):
        root = ["--root", str(bench.places.root)]
        return CliRunner().invoke(update.command, [*map(str, arguments), *root])

    return run


@pytest.fixture
def places(tmp_path):
    """A board with the machine “left”."""
    places = Places(tmp_path)
    places.settings.mkdir(parents=True)
    (places.settings / "left.toml").touch()
    (places.records / "left").mkdir(parents=True)
    return places


def hang_up(listener):
    listener.accept()[0].close()


def write_book(path, version, rows=1):
    with closing(sqlite3.connect(path)) as book:
        book.execute("CREATE TABLE IF NOT EXISTS run (id INTEGER PRIMARY KEY)")
        book.executemany("INSERT INTO run DEFAULT VALUES", [()] * rows)
        book.execute(f"PRAGMA user_version = {version}")
        book.commit()


def rows_in(path):
    with closing(sqlite3.connect(path)) as book:
        return book.execute("SELECT count(*) FROM run").fetchone()[0]


def test_where_nothing_is_installed_it_says_how(run, tmp_path):
    done = run(paper_wheel(tmp_path / "new").path)

    assert done.exit_code == 1
    assert "systemd/install" in done.output


def test_an_older_release_is_refused(run, bench, tmp_path):
    bench.change_to(paper_wheel(tmp_path / "new", "1.10")).run()

    done = run(paper_wheel(tmp_path / "old", "1.9").path)

    assert done.exit_code == 1
    assert "1.9 is older" in done.output


def test_a_file_that_is_no_wheel_is_refused(run, tmp_path):
    (tmp_path / "photo.jpg").touch()

    done = run(tmp_path / "photo.jpg")

    assert done.exit_code == 1
    assert "not a wheel" in done.output


@pytest.mark.parametrize("state", sorted(board.AT_WORK))
def test_a_machine_at_work_is_asked_and_named(places, state):
    status = {"state": state, "sentence": "Etching."}

    busy = board.LiveBoard(places, print, lambda _socket: status).busy()

    assert busy == ("The machine “left” is at work: Etching.",)


@pytest.mark.parametrize("status", [None, {"state": "idle", "sentence": ""}])
def test_a_machine_at_rest_or_away_holds_nobody_up(places, status):
    assert board.LiveBoard(places, print, lambda _socket: status).busy() == ()


def test_a_daemon_that_does_not_answer_is_taken_for_one_at_work(places):
    """It listens and says nothing, as one that hangs."""
    path = places.socket("left")
    path.parent.mkdir(parents=True)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(path))
        listener.listen()
        threading.Thread(target=hang_up, args=[listener]).start()

        busy = board.LiveBoard(places, print).busy()

    assert "is not known" in busy[0]
    assert "systemctl stop etchwarden-daemon@left" in busy[0]


def test_a_socket_that_a_dead_daemon_has_left_holds_nobody_up(places):
    path = places.socket("left")
    path.parent.mkdir(parents=True)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(path))

    assert board.LiveBoard(places, print).busy() == ()


def test_a_machine_whose_file_has_gone_is_asked_as_well(places):
    (places.settings / "left.toml").unlink()
    places.socket("left").parent.mkdir(parents=True)
    places.socket("left").touch()

    busy = board.LiveBoard(places, print, lambda _: {"state": "etching", "sentence": "E."}).busy()

    assert busy == ("The machine “left” is at work: E.",)


def test_records_are_copied_with_what_a_killed_daemon_left_beside_them(places):
    live = places.records / "left/logbook.sqlite3"
    with closing(sqlite3.connect(live)) as book:
        book.execute("PRAGMA journal_mode = WAL")
        book.execute("CREATE TABLE run (id INTEGER PRIMARY KEY)")
        book.execute("INSERT INTO run DEFAULT VALUES")
        book.commit()

        (copy,) = copy_records(places)

    assert rows_in(copy.kept) == 1


def test_records_that_were_rewritten_are_put_back_and_the_others_set_aside(places):
    live = places.records / "left/logbook.sqlite3"
    write_book(live, version=3)
    (copy,) = copy_records(places)
    write_book(live, version=4)

    was_put_back = put_back(copy)

    assert was_put_back
    assert rows_in(live) == 1
    (aside,) = live.parent.glob("logbook.sqlite3.after-update-*")
    assert rows_in(aside) == 2


def test_records_of_the_same_schema_are_kept_as_they_are(places):
    live = places.records / "left/logbook.sqlite3"
    write_book(live, version=3)
    (copy,) = copy_records(places)
    write_book(live, version=3)

    assert not put_back(copy)
    assert rows_in(live) == 2


def test_three_copies_are_kept(places):
    live = places.records / "left/logbook.sqlite3"
    write_book(live, version=3)

    kept = [copy.kept for _ in range(5) for copy in copy_records(places)]

    assert sorted(live.parent.glob("before-updates/*")) == kept[-3:]


def test_a_book_whose_daemon_was_killed_is_put_back_without_its_journal(places):
    live = places.records / "left/logbook.sqlite3"
    write_book(live, version=3)
    (copy,) = copy_records(places)
    with closing(sqlite3.connect(live)) as book:
        book.execute("PRAGMA journal_mode = WAL")
        book.execute("PRAGMA user_version = 4")
        book.execute("INSERT INTO run DEFAULT VALUES")
        book.commit()
        journal = live.with_name(f"{live.name}-wal")
        journal_as_killed = journal.read_bytes()
    journal.write_bytes(journal_as_killed)

    put_back(copy)

    assert rows_in(live) == 1
    (aside,) = live.parent.glob("logbook.sqlite3.after-update-*")
    assert rows_in(aside) == 2
    assert not journal.exists()


def test_a_book_that_was_damaged_meanwhile_is_put_back(places):
    live = places.records / "left/logbook.sqlite3"
    write_book(live, version=3)
    (copy,) = copy_records(places)
    live.write_bytes(b"SQLite format 3\0" + b"broken" * 1000)

    assert put_back(copy)
    assert rows_in(live) == 1


def test_a_book_that_is_gone_is_put_back(places):
    live = places.records / "left/logbook.sqlite3"
    write_book(live, version=3)
    (copy,) = copy_records(places)
    live.unlink()

    assert put_back(copy)
    assert rows_in(live) == 1


def test_the_copy_that_an_unfinished_change_needs_is_not_thrown_away(places):
    live = places.records / "left/logbook.sqlite3"
    write_book(live, version=3)
    (first,) = copy_records(places)
    write_book(live, version=4)

    for _ in range(5):
        (kept,) = copy_records(places, [first])

    assert kept == first
    assert rows_in(first.kept) == 1


def test_damaged_records_stop_the_update_before_anything_is_changed(places):
    (places.records / "left/logbook.sqlite3").write_bytes(b"not a database" * 100)

    with pytest.raises(StepFailed, match="not be copied"):
        list(copy_records(places))
