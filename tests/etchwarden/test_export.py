"""Everything out of one box and into another: the same afterwards, or nothing at all."""

import csv
import hashlib
import json
import shutil
import sqlite3
from contextlib import closing

import pytest
from click.testing import CliRunner

from darkroom.camera import photograph
from darkroom.focus import Beam, etch_focus
from darkroom.tile import SURFACES
from etchdaemon.logbook.backup.exporting import TABLES
from etchdaemon.logbook.schema.steps import MIGRATIONS
from etchproof.layout.job import read_card_file
from etchwarden.__main__ import main
from support.harnesses.catalogue_bench import Shop

pytestmark = pytest.mark.slow

MAY_BE_EMPTY = {"logbook_note", "input_proof", "relay_test"}  # no fault, and no hand at a contact

# What holds only for the box in which it was written: its pins, its head, what is on the bench.
NOT_EXPORTED = {"pin_map", "origin", "position_epoch", "loaded_job"}
JIG = {
    "name": "four coasters", "columns": 2, "rows": 2, "pitch_x_mm": 100.0, "pitch_y_mm": 100.0,
    "width_mm": 90.0, "height_mm": 90.0, "lower_left_x_mm": 10.0, "lower_left_y_mm": 10.0,
    "upper_right_x_mm": 200.0, "upper_right_y_mm": 200.0,
}  # fmt: skip
ITEM = {"title": "a dog", "width_mm": 90.0, "height_mm": 90.0, "surface": "tile"}


@pytest.fixture(scope="module")
def old_box(tmp_path_factory):
    """A box in which everything happened once; its daemon has ended."""
    folder = tmp_path_factory.mktemp("old")
    with Shop(folder) as shop:
        shop.done("laser wiped 'practice 20 W'")
        shop.done("card power -o {here}/first --surface tile --steps 4 4")
        shop.done("laser filter --changed")
        shop.done("lot add first-lot --surface tile --painted 2026-11-20T17:00")
        order = {"customer": "Ada", "items": [ITEM]}
        shop.logbook.note("save_order", order=order)
        shop.logbook.note("note_proof", item=1, answer="shown")
        shop.logbook.note("save_shop", figures={"tile": 1.2})
        shop.logbook.note("save_jig", jig=JIG)
        shop.done("lot assign first-lot --job {here}/first --pocket 5=first-lot")
        run = shop.etch("first")
        shop.done("read --card {here}/first --mark B3=good --accept")
        shop.done("card spacing -o {here}/lines --surface tile")
        shop.done("card focus -o {here}/wedge --surface tile --wedge 0 15 100")
        beam = Beam(
            sigma_across_mm=0.045,
            sigma_along_mm=0.05,
            across_at_mm=6.0,
            along_at_mm=6.0,
            m_squared=16,
        )
        tile = etch_focus(read_card_file(folder / "wedge"), SURFACES["willing"], beam)
        (folder / "wedge.jpg").write_bytes(photograph(tile).getvalue())
        shop.done("read {here}/wedge.jpg --card {here}/wedge --wiped --other-way-round --accept")
        shop.done(f"verdict {run} good --note 'as it should be, über alles'")
    with closing(sqlite3.connect(folder / "logbook.sqlite3")) as book:  # as if in a jig
        book.execute("INSERT INTO run_tile VALUES (?, 5, 'first', 0, 10, NULL)", (run,))
        book.commit()
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


def test_whatever_the_logbook_keeps_is_exported(old_box):
    with closing(sqlite3.connect(old_box / "logbook.sqlite3")) as book:
        kept = book.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        ).fetchall()

    assert {name for (name,) in kept} - NOT_EXPORTED == set(TABLES)


def test_focus_and_spacing_cards_are_exported_with_the_spot_that_was_taken(export):
    kinds = [row["kind"] for row in read_csv(export, "card")]
    assert kinds == ["power", "spacing", "focus"]
    read = read_csv(export, "reading")[-1]
    assert json.loads(read["marks_json"]) == {"wedge": "other way round"}
    spot = json.loads(read["chosen_json"])["spot"]
    head = next(
        row for row in read_csv(export, "head") if json.loads(row["head_json"])["spot_y_mm"] != 0.08
        or json.loads(row["head_json"])["spot_x_mm"] != 0.08
    )  # fmt: skip
    assert json.loads(head["head_json"])["spot_y_mm"] == spot["spot_y_mm"]


def read_csv(export, table):
    with (export / f"{table}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


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


def rewrite(export, table, **values):
    """Put `values` into the first row of `table`, and the right checksum into the index."""
    path = export / f"{table}.jsonl"
    first, *rest = path.read_text().splitlines()
    rewrite_line(export, table, json.dumps(json.loads(first) | values), *rest)


def rewrite_line(export, table, *lines):
    data = "".join(f"{line}\n" for line in lines).encode()
    (export / f"{table}.jsonl").write_bytes(data)
    tables = json.loads((export / "export.json").read_text())["tables"]
    tables[table]["sha256"] = hashlib.sha256(data).hexdigest()
    change_index(export, tables=tables)


DEEP = "[" * 5000 + "]" * 5000
# Whole files with their right checksums, of which no logbook of ours would have come.
NEVER_OURS = {
    "a surface that is no JSON": ("surface", {"surface_json": "not json"}),
    "a surface of another make": ("surface", {"surface_json": '{"name": 7}'}),
    "a surface in a list": ("recipe", {"found_on_json": "[]"}),
    "a head with no watts": ("head", {"head_json": "{}"}),
    "a sheet that is none": ("run", {"sheet_json": "{}"}),
    "deep notes": ("run", {"notes_json": DEEP}),
    "deep details": ("run_event", {"details_json": '{"a": ' + DEEP + "}"}),
    "half a summary": ("reading", {"summary_json": '{"lightness'}),
    "a summary with no number": ("reading", {"summary_json": '{"a": NaN}'}),
    "photos in a table": ("reading", {"photos_json": "{}"}),
    "a card that was never packed": ("card", {"layout_packed": "%%%"}),
    "a number of 65 bits": ("run", {"rows": 2**64}),
    "a number of 300 digits": ("verdict", {"run_id": 10**300}),
    "a yes for a number": ("surface", {"is_practice": True}),
    "a text for a number": ("run", {"rows": "many"}),
    "a table for a text": ("verdict", {"note": {"a": 1}}),
    "a list for a text": ("verdict", {"note": [1]}),
    "a time that is none": ("verdict", {"at_utc": "yesterday"}),
    "half a letter": ("verdict", {"note": "\ud800"}),
    "a verdict on no run": ("verdict", {"run_id": 77}),
    "a word that is no verdict": ("verdict", {"verdict": "so-so"}),
}
NO_ROWS = ["[]", "7", "null", '{"id": 1}', DEEP, "{", "9" * 5000, '{"id": 1e999}', "\xff"]


@pytest.mark.parametrize("name", NEVER_OURS)
def test_a_value_that_no_logbook_would_hold_is_refused_by_its_column(export, fresh, name):
    table, values = NEVER_OURS[name]
    rewrite(export, table, **values)

    require_refused(export, fresh, says="does not fit")


@pytest.mark.parametrize("line", NO_ROWS)
def test_a_line_that_is_no_row_is_refused(export, fresh, line):
    rewrite_line(export, "surface", line)

    require_refused(export, fresh, says="surface")


@pytest.mark.parametrize(
    "tables", [[], list(TABLES), dict.fromkeys(TABLES), {table: {"sha256": 1} for table in TABLES}]
)
def test_an_index_of_another_shape_is_refused(export, fresh, tables):
    change_index(export, tables=tables)

    require_refused(export, fresh, says="export")


def require_refused(export, fresh, *, says):
    result = say("import", export, "--state", fresh)

    assert (result.exit_code, type(result.exception)) == (1, SystemExit)
    assert result.output.startswith("Error: ")
    assert says in result.output
    assert len(result.output) < 500
    if (fresh / "logbook.sqlite3").exists():
        assert not any(everything(fresh).values())


# Beginnings that OWASP's "CSV Injection" names, from memory.
FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "=cmd|' /C calc'!A0"]


@pytest.mark.parametrize("formula", FORMULAS)
def test_a_text_that_a_spreadsheet_would_run_is_shown_to_it_and_comes_back_as_it_was(
    old_box, tmp_path, fresh, formula
):
    box, folder = tmp_path / "box", tmp_path / "out"
    shutil.copytree(old_box, box)
    with closing(sqlite3.connect(box / "logbook.sqlite3")) as book:
        book.execute("UPDATE verdict SET note = ?", (formula,))
        book.execute("UPDATE run_event SET at_s = -2.5")
        book.commit()

    assert say("export", folder, "--state", box).exit_code == 0
    assert say("import", folder, "--state", fresh).exit_code == 0

    ((_, row),) = cells(folder / "verdict.csv")
    assert row["note"] == f"'{formula}"
    assert {row["at_s"] for _, row in cells(folder / "run_event.csv")} == {"-2.5"}
    assert everything(fresh) == everything(box)


def test_no_cell_of_an_export_begins_as_a_formula_but_a_number(export):
    for path in export.glob("*.csv"):
        for name, row in cells(path):
            for cell in row.values():
                assert not cell.startswith(tuple("=+-@\t\r")) or is_number(cell), (name, cell)


def cells(path):
    with path.open(encoding="utf-8", newline="") as file:
        return [(path.name, row) for row in csv.DictReader(file)]


def is_number(cell):
    try:
        return float(cell) is not None
    except ValueError:
        return False


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
