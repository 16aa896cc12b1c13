"""Everything out of one box and into another: the same afterwards, or nothing at all."""

import csv
import json
import sqlite3
from contextlib import closing

import pytest
from click.testing import CliRunner

from craft_bench import Shop
from etchdaemon.logbook.exporting import TABLES
from etchdaemon.logbook.schema import MIGRATIONS
from etchwarden.__main__ import main

MAY_BE_EMPTY = {"logbook_note", "input_proof"}  # no fault, and no hand at a contact


@pytest.fixture(scope="module")
def old_box(tmp_path_factory):
    """A box in which everything happened once; its daemon has ended."""
    folder = tmp_path_factory.mktemp("old")
    with Shop(folder) as shop:
        shop.done("laser wiped 'practice 20 W'")
        shop.done("card power -o {here}/first --surface tile --steps 4 4")
        run = shop.etch("first")
        shop.done("read --card {here}/first --mark B3=good --accept")
        shop.done(f"verdict {run} good --note 'as it should be, über alles'")
    return folder


@pytest.fixture
def export(old_box, tmp_path):
    assert say("export", tmp_path / "export", "--state", old_box).exit_code == 0
    return tmp_path / "export"


@pytest.fixture
def fresh(tmp_path):
    (tmp_path / "fresh").mkdir()
    return tmp_path / "fresh"


def say(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def everything(box):
    with closing(sqlite3.connect(box / "logbook.sqlite3")) as book:
        return {
            table: book.execute(f"SELECT * FROM {table} ORDER BY 1, 2").fetchall()
            for table in TABLES
        }


def change_index(export, **changes):
    path = export / "export.json"
    path.write_text(json.dumps(json.loads(path.read_text()) | changes))


def test_what_was_exported_and_imported_is_the_same_in_every_table(old_box, export, fresh):
    result = say("import", export, "--state", fresh)

    assert result.exit_code == 0, result.output
    assert everything(fresh) == everything(old_box)
    assert all(rows for table, rows in everything(fresh).items() if table not in MAY_BE_EMPTY)


def test_a_spreadsheet_reads_the_tables(export):
    with (export / "verdict.csv").open(encoding="utf-8", newline="") as file:
        (row,) = csv.DictReader(file)

    assert (row["verdict"], row["note"]) == ("good", "as it should be, über alles")


def test_the_export_says_what_it_is_and_describes_every_table(export):
    index = json.loads((export / "export.json").read_text())
    about = (export / "README.txt").read_text()

    assert (index["format"], index["schema"]) == ("etchwarden-export", len(MIGRATIONS))
    assert index["tables"]["run"]["rows"] == 1
    assert [table for table in TABLES if table not in about and table != "logbook_note"] == []
    assert json.loads((export / "cards" / "1.json").read_text())["kind"] == "power"


def test_what_a_running_daemon_knows_is_exported_without_stopping_it(tmp_path):
    with Shop(tmp_path, keeps_backups=True) as shop:
        shop.done("export {here}/out")

        shop.done("laser wiped 'practice 20 W'")

    assert len((tmp_path / "out" / "head.jsonl").read_text().splitlines()) == 3


SPOILT = {
    "another format": lambda export: change_index(export, format="a diary"),
    "another schema": lambda export: change_index(export, schema=len(MIGRATIONS) + 1),
    "another version": lambda export: change_index(export, version=2),
    "a table that is missing": lambda export: change_index(export, tables={}),
    "no index": lambda export: (export / "export.json").unlink(),
    "half an index": lambda export: (export / "export.json").write_text('{"format": '),
    "a file that is missing": lambda export: (export / "run.jsonl").unlink(),
    "a file that was changed": lambda export: (export / "verdict.jsonl").write_text("{}\n"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_an_export_that_is_not_whole_and_ours_is_refused_and_nothing_is_taken(export, fresh, name):
    SPOILT[name](export)

    result = say("import", export, "--state", fresh)

    assert result.exit_code == 1
    assert "Traceback" not in result.output
    assert result.output.startswith("Error: ")
    if (fresh / "logbook.sqlite3").exists():
        assert not any(everything(fresh).values())


def test_another_version_is_named(export, fresh):
    change_index(export, schema=2, software="0.0.9")

    assert "another version (Etchwarden 0.0.9" in say("import", export, "--state", fresh).output


def test_a_box_that_holds_something_takes_nothing_in(old_box, export):
    before = everything(old_box)

    result = say("import", export, "--state", old_box)

    assert (result.exit_code, everything(old_box)) == (1, before)
    assert "fresh box only" in result.output


def test_a_folder_that_is_there_already_is_not_written_over(old_box, export):
    result = say("export", export, "--state", old_box)

    assert result.exit_code == 1
    assert "File exists" in result.output
