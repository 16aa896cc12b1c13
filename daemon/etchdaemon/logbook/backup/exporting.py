"""Everything the logbook knows as files that any program reads, and back into a fresh logbook.

A table is a CSV for people and spreadsheets and a `.jsonl`, one JSON object a line, from which it
is taken back; `export.json` says of which version they are and what each must hash to.
"""

import csv
import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from etchdaemon.errors import ExportRefused
from etchdaemon.logbook.backup.imported import require_fit
from etchdaemon.logbook.schema.steps import MIGRATIONS, transaction
from etchwire.errors import MalformedMessage
from etchwire.packing import unpack
from etchwire.storing import fault_of_card, file_sha256
from etchwire.transport.json_text import read_json

FORMAT: Final = "etchwarden-export"
VERSION: Final = 1
INDEX_NAME: Final = "export.json"
ABOUT_NAME: Final = "README.txt"
CARDS_FOLDER: Final = "cards"

# Each after those it refers to. Epochs, origins, jigs and pins stay: they are places on this
# machine, and on another they would be offered as if they were there. `happening` is the order in
# which all the others were written.
TABLES: Final = (
    "logbook_note", "input_proof", "relay_test", "surface", "lot", "customer_order", "order_item",
    "proof", "shop", "assignment", "assignment_tile", "run", "run_tile", "run_row", "run_event",
    "head", "lens_wipe", "filter_change", "jig", "card", "reading", "recipe", "verdict",
    "happening",
)  # fmt: skip
_MUST_BE_EMPTY: Final = tuple(table for table in TABLES if table != "logbook_note")

_FORMULAS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")

_ABOUT: Final = """\
Everything that this box's logbook knew, in one CSV and one JSON-lines file a table. The last word
of a column is its unit; a ratio and a count have none, times are UTC.

run         an etch: its job sheet (sheet_json), how it ended, how long the beam was on (beam_s)
run_tile    the tiles of an etch of several, by their pockets in the jig
run_row     what was really run in each of its rows
run_event   holds, resumes, faults
head        lasers                          lens_wipe  when a lens was wiped
surface     tiles and paints as they are    card       test cards; their layouts are in cards/
lot         tiles that were painted together
assignment  on which tile a job was etched next: of which lot, for which item of an order
assignment_tile  the same of each tile of a job of several
customer_order, order_item, proof           who wants which tiles, and the yes to what was shown
shop        what a tile costs               filter_change  when the extraction got a new filter
reading     what cards showed, what was recommended and what was chosen
recipe      settings, and the surface they were found on (found_on_json)
input_proof when safety contacts were seen to open
relay_test  when the safety relay was tested, and whether it fell
jig         jigs, where the head stood over two of their corners
verdict     what wiped tiles looked like    happening  the order in which all of it was written
Columns named ..._json hold JSON; ..._packed hold JSON too, deflated (zlib) and in base 64.
In the CSV files a text that a spreadsheet would run as a formula has a ' before it.
etchwarden import takes this folder back into a fresh box of the same version.
"""


def export_logbook(book: sqlite3.Connection, folder: Path, *, at_utc: str, software: str) -> int:
    """Write every table of `book` into `folder`, which must be new; return how many rows.

    Raise ExportRefused where it cannot be written.
    """
    try:
        folder.mkdir()
    except OSError as error:
        raise ExportRefused(f"{folder}: {error.strerror}.") from error
    try:
        files = {table: _write_table(book, table, folder) for table in TABLES}
        _write_cards(book, folder / CARDS_FOLDER)
        (folder / ABOUT_NAME).write_text(_ABOUT, encoding="utf-8")
        index = {
            "format": FORMAT,
            "version": VERSION,
            "schema": len(MIGRATIONS),
            "software": software,
            "exported_at_utc": at_utc,
            "tables": {table: asdict(file) for table, file in files.items()},
        }
        (folder / INDEX_NAME).write_text(json.dumps(index, indent=1), encoding="utf-8")
    except OSError as error:
        shutil.rmtree(folder, ignore_errors=True)
        reason = fault_of_card(error) or error.strerror
        raise ExportRefused(f"{error.filename or folder}: {reason}.") from error
    return sum(file.rows for file in files.values())


def import_logbook(book: sqlite3.Connection, folder: Path) -> int:
    """Take an export into the empty `book`, whole or not at all; return how many rows.

    Raise ExportRefused for an export of another version, a file that was changed, or a book that
    holds something already.
    """
    sums = _sums(folder)
    for table in _MUST_BE_EMPTY:
        if book.execute(f"SELECT 1 FROM {table} LIMIT 1").fetchone():  # noqa: S608
            raise ExportRefused(
                "This logbook holds something already: an export goes into a fresh box only."
            )
    for table in TABLES:
        _require_unchanged(folder, table, sums[table])
    try:
        with transaction(book):
            return sum(_read_table(book, table, folder) for table in TABLES)
    except (sqlite3.Error, MalformedMessage) as error:
        raise ExportRefused(f"This export does not fit the logbook: {error}.") from error


@dataclass(frozen=True, slots=True)
class _TableFile:
    """What the index says of a table's file."""

    rows: int
    columns: list[str]
    sha256: str


def _write_table(book: sqlite3.Connection, table: str, folder: Path) -> _TableFile:
    cursor = book.execute(f"SELECT * FROM {table} ORDER BY {_order(table)}")  # noqa: S608
    names = [column[0] for column in cursor.description]
    digest, rows = hashlib.sha256(), 0
    with (
        (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as for_people,
        (folder / f"{table}.jsonl").open("wb") as lines,
    ):
        sheet = csv.writer(for_people)
        sheet.writerow(names)
        for row in cursor:
            sheet.writerow(map(_harmless, row))
            line = json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False) + "\n"
            lines.write(line.encode())
            digest.update(line.encode())
            rows += 1
    return _TableFile(rows, names, digest.hexdigest())


def _harmless(value: object) -> object:
    """Return `value` so that a spreadsheet shows it: a text that it would run gets a quote before.

    What it takes for a formula, and the quote against it: OWASP, "CSV Injection", from memory.
    """
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULAS) else value


def _order(table: str) -> str:
    return {
        "run_row": "run_id, row",
        "run_tile": "run_id, first_row",
        "assignment_tile": "assignment_id, pocket",
    }.get(table, "rowid")


def _write_cards(book: sqlite3.Connection, folder: Path) -> None:
    folder.mkdir()
    for number, packed in book.execute("SELECT number, layout_packed FROM card"):
        try:
            (folder / f"{number}.json").write_text(unpack(packed), encoding="utf-8")
        except MalformedMessage:
            continue  # what it holds stands in the table in any case


def _sums(folder: Path) -> dict[str, str]:
    """Return what the file of every table hashes to, as the index says."""
    try:
        index = read_json((folder / INDEX_NAME).read_bytes(), called="it")
    except OSError as error:
        raise ExportRefused(f"{folder} is no export of ours: {error.strerror}.") from error
    except MalformedMessage as error:
        raise ExportRefused(f"{folder / INDEX_NAME} is damaged: {error}.") from error
    if not isinstance(index, dict) or index.get("format") != FORMAT:
        raise ExportRefused(f"{folder} is no export of ours.")
    made_of = (index.get("version"), index.get("schema"))
    if made_of != (VERSION, len(MIGRATIONS)):
        raise ExportRefused(
            f"This export is of another version (Etchwarden {index.get('software')}, logbook "
            f"{index.get('schema')}; this program's is {len(MIGRATIONS)}): install the program "
            "that made it, import it there, then update."
        )
    tables = index.get("tables")
    if not isinstance(tables, dict) or set(tables) != set(TABLES):
        raise ExportRefused(f"{folder / INDEX_NAME} does not name every table.")
    if not all(isinstance(file, dict) and "sha256" in file for file in tables.values()):
        raise ExportRefused(f"{folder / INDEX_NAME} does not say what every file hashes to.")
    return {table: str(file["sha256"]) for table, file in tables.items()}


def _require_unchanged(folder: Path, table: str, sha256: str) -> None:
    path = folder / f"{table}.jsonl"
    try:
        found = file_sha256(path)
    except OSError as error:
        raise ExportRefused(f"{path}: {error.strerror}.") from error
    if found != sha256:
        raise ExportRefused(f"{path} is not as it was exported: fetch the folder again.")


def _read_table(book: sqlite3.Connection, table: str, folder: Path) -> int:
    if table == "happening":
        book.execute("DELETE FROM happening")  # which filled itself in the wrong order
    column_names = [column[1] for column in book.execute(f"PRAGMA table_info({table})")]
    places = ", ".join("?" * len(column_names))
    rows = 0
    for row in _rows(folder / f"{table}.jsonl"):
        if not isinstance(row, dict) or set(row) != set(column_names):
            raise ExportRefused(f"{table} has other columns than this program's.")
        require_fit(table, row)
        values = [row[name] for name in column_names]
        book.execute(f"INSERT INTO {table} ({', '.join(column_names)}) VALUES ({places})", values)  # noqa: S608
        rows += 1
    return rows


def _rows(path: Path) -> Iterator[object]:
    with path.open("rb") as file:
        for line in file:
            yield read_json(line, called=f"a line of {path.name}")
