"""What is written of cards, readings and verdicts: functions as in `entries`."""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import replace

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.write.catalogue_entries import save_recipe
from etchdaemon.logbook.write.insert_statements import (
    Stamp,
    has,
    insert,
    made,
    newest_run,
    pair,
    require,
)
from etchwire.catalogue.records import CardRecord, ReadingRecord, RecipeRecord, VerdictRecord


def save_card(book: sqlite3.Connection, card: CardRecord, stamp: Stamp) -> int | None:
    """Write a card that was laid out; the run with its G-code is its burning.

    Raise CommandRefused where its number is taken.
    """
    if has(book, "card", card.number, key="number"):
        raise CommandRefused(f"There is a card {card.number} already: choose another number.")
    columns = {
        "number": card.number,
        "kind": card.kind,
        **pair(book, card.head, card.surface),
        "gcode_sha256": card.gcode_sha256,
        "layout_packed": card.layout_packed,
        "place_json": None if card.place is None else json.dumps(card.place),
        **made(stamp, book),
    }
    return insert(book, "card", columns)


def save_reading(book: sqlite3.Connection, reading: ReadingRecord, stamp: Stamp) -> int | None:
    """Write what a card was read to be; raise CommandRefused where its card is not kept."""
    require(book, "card", reading.card, key="number")
    recommended = reading.recommended
    columns = {
        "card_number": reading.card,
        "way": reading.way,
        "measured_packed": reading.measured_packed,
        "marks_json": json.dumps(reading.marks),
        "photos_json": json.dumps(reading.photos),
        "summary_json": json.dumps(reading.summary),
        "recommended_json": None if recommended is None else json.dumps(recommended),
        **made(stamp, book),
    }
    return insert(book, "reading", columns)


def accept_reading(
    book: sqlite3.Connection,
    reading: int,
    chosen: Mapping[str, object],
    stamp: Stamp,
    *,
    recipe: RecipeRecord | None = None,
    head_changes: Mapping[str, object] | None = None,
) -> int | None:
    """Write what a person chose, and what follows; return the recipe's number, if there is one.

    A recipe comes into force, for the card's head and surface; or entries of the head's table
    change.
    """
    require(book, "reading", reading, key="id")
    book.execute(
        "UPDATE reading SET chosen_json = ?, chosen_by = ?, chosen_at_utc = ? WHERE id = ?",
        (json.dumps(chosen), stamp.who, stamp.at_utc, reading),
    )
    head, surface = book.execute(
        "SELECT head, surface FROM card WHERE number ="
        " (SELECT card_number FROM reading WHERE id = ?)",
        (reading,),
    ).fetchone()
    if head_changes:
        _change_head(book, head, head_changes, stamp)
    if recipe is None:
        return None
    return save_recipe(book, replace(recipe, head=head, surface=surface), stamp)


def save_verdict(book: sqlite3.Connection, verdict: VerdictRecord, stamp: Stamp) -> int | None:
    """Write how the wiped tile of a run looked; a later verdict counts instead of an earlier one.

    Raise CommandRefused where there is no such run or tile, or it goes on.
    """
    require(book, "run", verdict.run, key="id")
    (ended,) = book.execute("SELECT ended FROM run WHERE id = ?", (verdict.run,)).fetchone()
    if ended is None:
        raise CommandRefused(f"Run {verdict.run} is still going on: let it end and cool first.")
    if (
        verdict.pocket is not None
        and not book.execute(
            "SELECT 1 FROM run_tile WHERE run_id = ? AND pocket = ?", (verdict.run, verdict.pocket)
        ).fetchone()
    ):
        raise CommandRefused(f"Run {verdict.run} has no tile in pocket {verdict.pocket}.")
    columns = {
        "run_id": verdict.run,
        "pocket": verdict.pocket,
        "verdict": verdict.verdict,
        "cause": verdict.cause,
        "note": verdict.note,
        "photo": verdict.photo,
        "at_utc": stamp.at_utc,
        "after_run_id": newest_run(book),
        "who": stamp.who,
    }
    return insert(book, "verdict", columns)


def _change_head(
    book: sqlite3.Connection, head: str, changes: Mapping[str, object], stamp: Stamp
) -> None:
    (head_json,) = book.execute("SELECT head_json FROM head WHERE name = ?", (head,)).fetchone()
    table = {**json.loads(head_json), **changes}
    book.execute(
        "UPDATE head SET head_json = ?, who = ?, changed_at_utc = ? WHERE name = ?",
        (json.dumps(table), stamp.who, stamp.at_utc, head),
    )
