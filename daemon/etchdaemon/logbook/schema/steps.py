"""The logbook's schema, as the list of steps that made it.

A step that has been released is never edited: what it got wrong, a later one puts right. Units
are the last word of every column; a ratio and a pure count have none.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Final

from etchdaemon.logbook.schema.catalogue_steps import (
    CATALOGUE,
    FILTERS,
    HAPPENINGS,
    JIGS,
    LOADED_JOB,
    LOTS,
    MORE_CARDS,
    MORE_VERDICTS,
    ORDERS,
    TILE_LOTS,
    TILES,
)

APPLICATION_ID: Final = 0x45746368  # "Etch", so that a stranger's database is not mistaken for ours

_RUNS: Final = (
    f"PRAGMA application_id = {APPLICATION_ID}",
    """
    CREATE TABLE run (
        id INTEGER PRIMARY KEY,
        title TEXT NOT NULL,
        gcode_sha256 TEXT NOT NULL,
        sheet_json TEXT NOT NULL,  -- the whole job sheet, with an empty index
        rows INTEGER NOT NULL,
        columns INTEGER NOT NULL,
        width_mm REAL NOT NULL,
        height_mm REAL NOT NULL,
        head TEXT NOT NULL,
        head_rated_optical_w REAL NOT NULL,
        head_max_s REAL NOT NULL,
        head_max_feed_mm_per_min REAL NOT NULL,
        head_acceleration_mm_per_s2 REAL NOT NULL,
        head_spot_x_mm REAL NOT NULL,
        head_spot_y_mm REAL NOT NULL,
        surface TEXT NOT NULL,
        recipe_feed_mm_per_min REAL NOT NULL,
        recipe_power_ratio REAL NOT NULL,
        recipe_line_spacing_mm REAL NOT NULL,
        recipe_is_air_assist INTEGER NOT NULL CHECK (recipe_is_air_assist IN (0, 1)),
        dose_j_per_mm2 REAL NOT NULL,
        predicted_s REAL NOT NULL,
        started_at_utc TEXT NOT NULL,
        is_clock_synchronised INTEGER CHECK (is_clock_synchronised IN (0, 1)),
        notes_json TEXT NOT NULL,
        ended TEXT CHECK (ended IN ('complete', 'stopped', 'failed')),
        because TEXT,
        ended_at_utc TEXT,
        elapsed_s REAL,
        etched_rows INTEGER
    ) STRICT
    """,
    """
    CREATE TABLE run_row (
        run_id INTEGER NOT NULL REFERENCES run (id),
        row INTEGER NOT NULL,
        samples INTEGER NOT NULL,
        is_estimated INTEGER NOT NULL CHECK (is_estimated IN (0, 1)),
        feed_mean_mm_per_min REAL,
        feed_min_mm_per_min REAL,
        feed_max_mm_per_min REAL,
        power_mean_ratio REAL,
        power_min_ratio REAL,
        power_max_ratio REAL,
        at_s REAL NOT NULL,
        PRIMARY KEY (run_id, row)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE run_event (
        id INTEGER PRIMARY KEY,
        run_id INTEGER NOT NULL REFERENCES run (id),
        at_s REAL NOT NULL,
        at_utc TEXT NOT NULL,
        kind TEXT NOT NULL,
        text TEXT NOT NULL,
        details_json TEXT NOT NULL
    ) STRICT
    """,
    "CREATE INDEX run_event_of_run ON run_event (run_id, id)",
)

_NOTES: Final = (
    """
    CREATE TABLE logbook_note (
        id INTEGER PRIMARY KEY,
        at_utc TEXT NOT NULL,
        text TEXT NOT NULL
    ) STRICT
    """,
)

_REENTRIES: Final = ("ALTER TABLE run ADD COLUMN continues_run_id INTEGER REFERENCES run (id)",)

_PROOFS: Final = (
    """
    CREATE TABLE input_proof (
        id INTEGER PRIMARY KEY,
        at_utc TEXT NOT NULL,
        input TEXT NOT NULL
    ) STRICT
    """,
)

# `first_run_id` is the number that the next run gets: those from there on began from this origin.
_ORIGINS: Final = (
    """
    CREATE TABLE position_epoch (
        id INTEGER PRIMARY KEY,
        at_utc TEXT NOT NULL,
        because TEXT NOT NULL
    ) STRICT
    """,
    """
    CREATE TABLE origin (
        id INTEGER PRIMARY KEY,
        position_epoch_id INTEGER REFERENCES position_epoch (id),
        at_utc TEXT NOT NULL,
        x_mm REAL NOT NULL,  -- in the machine's coordinates, as are the ends of the travel
        y_mm REAL NOT NULL,
        left_mm REAL,  -- NULL where the machine was not homed
        bottom_mm REAL,
        right_mm REAL,
        top_mm REAL,
        offsets_json TEXT NOT NULL,
        first_run_id INTEGER NOT NULL
    ) STRICT
    """,
)

_RELAY_TESTS: Final = (
    """
    CREATE TABLE relay_test (
        id INTEGER PRIMARY KEY,
        at_utc TEXT NOT NULL,
        has_passed INTEGER NOT NULL CHECK (has_passed IN (0, 1))
    ) STRICT
    """,
)

# Proofs after `last_proof_id` were seen at these pins.
_PIN_MAPS: Final = (
    """
    CREATE TABLE pin_map (
        id INTEGER PRIMARY KEY,
        at_utc TEXT NOT NULL,
        inputs_json TEXT NOT NULL,
        last_proof_id INTEGER NOT NULL
    ) STRICT
    """,
)

MIGRATIONS: Final = (
    _RUNS, _NOTES, _REENTRIES, CATALOGUE, HAPPENINGS, _PROOFS, _ORIGINS, _RELAY_TESTS, _PIN_MAPS,
    MORE_VERDICTS, MORE_CARDS, LOTS, ORDERS, LOADED_JOB, JIGS, TILES, FILTERS, TILE_LOTS,
)  # fmt: skip


def version_of(book: sqlite3.Connection) -> int:
    """Return the number of the last step taken."""
    (version,) = book.execute("PRAGMA user_version").fetchone()
    return int(version)


def migrate(book: sqlite3.Connection, steps: Sequence[Sequence[str]] = MIGRATIONS) -> None:
    """Take the steps that `book` lacks; each lands whole, with its number, or not at all."""
    done = version_of(book)
    for number, statements in enumerate(steps[done:], start=done + 1):
        with transaction(book):
            for statement in statements:
                book.execute(statement)
            book.execute(f"PRAGMA user_version = {number}")


@contextmanager
def transaction(book: sqlite3.Connection) -> Iterator[None]:
    """Commit what is written inside, or none of it when anything raises."""
    book.execute("BEGIN IMMEDIATE")
    try:
        yield
        book.execute("COMMIT")
    except BaseException:
        if book.in_transaction:  # SQLite may have rolled back by itself, on a full disk for one
            book.execute("ROLLBACK")
        raise
