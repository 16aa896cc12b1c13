"""The logbook's steps: from every older version, whole or not at all."""

import sqlite3

import pytest

from etchdaemon.errors import LogbookUnavailable
from etchdaemon.logbook.read.queries import run, run_events, run_rows, runs
from etchdaemon.logbook.schema.catalogue_steps import MORE_VERDICTS
from etchdaemon.logbook.schema.opening import open_logbook
from etchdaemon.logbook.schema.steps import MIGRATIONS, migrate, version_of
from etchdaemon.logbook.write.card_entries import save_reading
from etchdaemon.logbook.write.catalogue_entries import save_head, save_surface
from etchdaemon.logbook.write.entries import write_end, write_event, write_row, write_start
from etchdaemon.logbook.write.insert_statements import Stamp
from etchdaemon.ports import RunEnd, RunNote
from etchwire.calls.history import Run, RunEvents, RunRows, Runs
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.records import ReadingRecord, Surface
from support.harnesses.calls import as_table
from support.harnesses.logbooks import END, EVENT, OPENED_UTC, STARTED_UTC, row_of
from support.samples.sheets import sheet_of

NEWEST = len(MIGRATIONS)
HEAD = PRACTICE_HEADS["practice-10w"]


@pytest.fixture
def book():
    book = sqlite3.connect(":memory:", isolation_level=None)
    yield book
    book.close()


def bring_to(book, version):
    for number, statements in enumerate(MIGRATIONS[:version], start=1):
        for statement in statements:
            book.execute(statement)
        book.execute(f"PRAGMA user_version = {number}")


def schema_of(book):
    return set(book.execute("SELECT type, name, sql FROM sqlite_schema"))


def write_a_run(book):
    write_start(
        book,
        sheet_of(),
        started_at_utc=STARTED_UTC,
        is_clock_synchronised=True,
        notes={"a": 1},
    )
    write_row(book, 1, row_of(3))
    write_event(book, RunNote(run=1, **EVENT))
    write_end(book, RunEnd(run=1, **END))


@pytest.mark.parametrize("version", range(NEWEST + 1))
def test_every_older_version_becomes_the_newest(book, version):
    bring_to(book, version)
    new = sqlite3.connect(":memory:", isolation_level=None)
    migrate(new)

    migrate(book)

    assert version_of(book) == NEWEST
    assert schema_of(book) == schema_of(new)
    new.close()


@pytest.mark.parametrize("version", range(1, NEWEST + 1))
def test_what_an_older_version_recorded_is_read_by_the_newest(book, version):
    bring_to(book, version)
    write_a_run(book)

    migrate(book)

    (summary,) = as_table(runs(book, Runs(limit=10)).runs)
    assert (summary["ended"], summary["etched_rows"]) == ("complete", 20)
    assert run(book, Run(id=1)).comparison.measured_rows == 1
    assert len(run_rows(book, RunRows(id=1)).rows) == 1
    assert run_events(book, RunEvents(id=1)).events[0].details == {"row": 3}


def test_runs_of_an_older_version_get_their_beam_time_from_their_rows(book):
    bring_to(book, 3)
    write_a_run(book)

    migrate(book)

    (summary,) = as_table(runs(book, Runs(limit=10)).runs)
    assert summary["beam_s"] == pytest.approx(1.2)  # 40 % of 10 mm in 20 rows at 4000 mm/min
    assert (summary["feed_run_mm_per_min"], summary["power_run_ratio"]) == (4000.0, 0.6)


@pytest.mark.parametrize("version", range(NEWEST))
def test_a_step_that_fails_leaves_the_version_before_it(book, version):
    bring_to(book, version)
    before = schema_of(book)
    broken = (*MIGRATIONS[version], "CREATE TABLE", "CREATE TABLE never_reached (id)")

    with pytest.raises(sqlite3.OperationalError, match="incomplete input"):
        migrate(book, (*MIGRATIONS[:version], broken))

    assert (version_of(book), schema_of(book)) == (version, before)
    assert not book.in_transaction
    migrate(book)
    assert version_of(book) == NEWEST


def test_cards_that_were_read_outlive_the_step_that_makes_their_table_anew(book):
    book.execute("PRAGMA foreign_keys = ON")
    bring_to(book, 10)
    stamp = Stamp(at_utc=OPENED_UTC, who="", software="")
    save_head(book, HEAD, "", stamp)
    save_surface(book, Surface(name="a tile"), stamp)
    book.execute(
        "INSERT INTO card VALUES (5, 'power', ?, 'a tile', '{}', '', '', ?, 0, '', '')",
        (HEAD.name, OPENED_UTC),
    )
    save_reading(book, ReadingRecord(card=5, way="hand"), stamp)
    seen = list(book.execute("SELECT * FROM happening"))

    migrate(book)

    assert book.execute("SELECT number, kind, place_json FROM card").fetchall() == [
        (5, "power", None)
    ]
    assert list(book.execute("SELECT * FROM happening")) == seen
    assert list(book.execute("PRAGMA foreign_key_check")) == []
    with pytest.raises(sqlite3.IntegrityError):
        book.execute("DELETE FROM card")  # its reading still points at it


def test_migrating_twice_changes_nothing(book):
    migrate(book)
    write_a_run(book)
    before = list(book.iterdump())

    migrate(book)

    assert list(book.iterdump()) == before


def test_every_table_is_strict_and_every_quantity_says_its_unit(book):
    migrate(book)
    tables = [(name, sql) for kind, name, sql in schema_of(book) if kind == "table"]
    reals = [
        (table, column[1])
        for table, _ in tables
        for column in book.execute(f"PRAGMA table_info({table})")
        if column[2] == "REAL"
    ]
    units = ("_mm", "_w", "_s", "_ratio", "_mm_per_min", "_mm_per_s2", "_j_per_mm2")

    assert all("STRICT" in sql for _, sql in tables)
    assert [column for _, column in reals if not column.endswith(units)] == []


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("run", "ended", "aborted"),
        ("run", "etched_rows", "many"),
        ("run", "is_clock_synchronised", 2),
        ("run_row", "feed_mean_mm_per_min", "fast"),
        ("run_row", "run_id", 99),
        ("run_event", "text", None),
        ("run_event", "run_id", 99),
    ],
)
def test_what_does_not_fit_a_column_is_not_written(tmp_path, table, column, value):
    book, _ = open_logbook(tmp_path / "logbook.sqlite3", at_utc=OPENED_UTC)
    write_a_run(book)

    with pytest.raises(sqlite3.IntegrityError):
        book.execute(f"UPDATE {table} SET {column} = ?", (value,))
    book.close()


def test_a_newer_program_s_logbook_is_refused_and_left_as_it_is(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    book, _ = open_logbook(path, at_utc=OPENED_UTC)
    book.execute(f"PRAGMA user_version = {NEWEST + 1}")
    book.close()
    before = path.read_bytes()

    with pytest.raises(LogbookUnavailable, match=f"version {NEWEST + 1}, written by a newer"):
        open_logbook(path, at_utc=OPENED_UTC)

    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["logbook.sqlite3"]


def test_another_program_s_database_is_refused_and_left_as_it_is(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE run (id)")
    other.close()
    before = path.read_bytes()

    with pytest.raises(LogbookUnavailable, match="another program"):
        open_logbook(path, at_utc=OPENED_UTC)

    assert path.read_bytes() == before


def no_database(_):
    return b"no database at all" * 100


def cut_short(path):
    return worn(path)[:5000]


def worn(path):
    """Return a real logbook with a page of it overwritten."""
    book, _ = open_logbook(path, at_utc=OPENED_UTC)
    write_a_run(book)
    book.close()
    data = bytearray(path.read_bytes())
    data[4096 * 2 : 4096 * 3] = b"\xa5" * 4096
    return bytes(data)


@pytest.mark.parametrize("content", [no_database, cut_short, worn])
def test_a_damaged_logbook_is_set_aside_and_a_new_one_begun(tmp_path, content):
    path = tmp_path / "logbook.sqlite3"
    damage = content(path)
    path.write_bytes(damage)

    book, note = open_logbook(path, at_utc=OPENED_UTC)

    aside = tmp_path / "logbook.damaged-20261126T080000.sqlite3"
    assert aside.read_bytes() == damage
    assert aside.name in note
    assert runs(book, Runs(limit=10)).runs == ()
    book.close()


def test_what_belongs_to_a_damaged_logbook_is_set_aside_with_it(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    path.write_bytes(b"no database at all" * 100)
    (tmp_path / "logbook.sqlite3-wal").write_bytes(b"what came last")

    open_logbook(path, at_utc=OPENED_UTC)[0].close()

    aside = tmp_path / "logbook.damaged-20261126T080000.sqlite3-wal"
    assert aside.read_bytes() == b"what came last"


def test_two_damaged_logbooks_of_one_second_are_both_kept(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    for content in (b"first" * 100, b"second" * 100):
        path.write_bytes(content)
        open_logbook(path, at_utc=OPENED_UTC)[0].close()

    kept = sorted(path.read_bytes()[:5] for path in tmp_path.glob("*.damaged-*"))
    assert kept == [b"first", b"secon"]


def test_a_logbook_is_open_once(tmp_path):
    path = tmp_path / "logbook.sqlite3"
    book, _ = open_logbook(path, at_utc=OPENED_UTC)

    with pytest.raises(LogbookUnavailable, match="another program has it open"):
        open_logbook(path, at_utc=OPENED_UTC)

    assert book.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert book.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
    book.close()


@pytest.mark.parametrize("place", ["missing/logbook.sqlite3", "folder"])
def test_a_place_where_nothing_can_be_written_is_named(tmp_path, place):
    (tmp_path / "folder").mkdir()

    with pytest.raises(LogbookUnavailable, match=f"{place} cannot be opened"):
        open_logbook(tmp_path / place, at_utc=OPENED_UTC)


def test_verdicts_of_before_keep_their_number_and_their_place_in_the_order(book):
    """The table of verdicts is made anew for more words; nothing that was said is said again."""
    bring_to(book, MIGRATIONS.index(MORE_VERDICTS))
    write_a_run(book)
    book.execute(
        "INSERT INTO verdict VALUES (7, 1, 'pale', 'too fast', '', '', ?, 1, 'who')", (STARTED_UTC,)
    )
    before = book.execute("SELECT * FROM happening ORDER BY id").fetchall()

    migrate(book)

    assert book.execute("SELECT id, verdict, cause FROM verdict").fetchall() == [
        (7, "pale", "too fast")
    ]
    assert book.execute("SELECT * FROM happening ORDER BY id").fetchall() == before
    book.execute(
        "INSERT INTO verdict (id, run_id, verdict, cause, note, photo, at_utc, after_run_id, who)"
        " VALUES (8, 1, 'our mistake', '', '', '', ?, 1, 'who')",
        (STARTED_UTC,),
    )
    assert book.execute("SELECT kind, entry_id FROM happening ORDER BY id").fetchall()[-1] == (
        "verdict", 8,
    )  # fmt: skip
