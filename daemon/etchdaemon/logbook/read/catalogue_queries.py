"""What is read of the craft: lasers, surfaces, recipes, cards and readings, as on the wire."""

import sqlite3
from typing import Any, Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.read.selecting import LAST_ID, fitting, opened, rows_asked, select

_HEADS: Final = """
    SELECT head.*,
        coalesce((SELECT sum(beam_s) FROM run WHERE run.head = head.name), 0) AS beam_s,
        wipe.at_utc AS lens_wiped_at_utc,
        iif(wipe.id IS NULL, NULL, coalesce((
            SELECT sum(beam_s) FROM run WHERE run.head = head.name AND run.id > wipe.after_run_id
        ), 0)) AS beam_since_wipe_s
    FROM head LEFT JOIN lens_wipe AS wipe
        ON wipe.id = (SELECT max(id) FROM lens_wipe WHERE lens_wipe.head = head.name)
    ORDER BY head.name
"""
_RECIPES: Final = """
    SELECT recipe.id, head, surface, found_on_json, feed_mm_per_min, power_ratio, line_spacing_mm,
        is_air_assist, halftone, tone_curve_json, origin, reading_id,
        (SELECT card_number FROM reading WHERE reading.id = recipe.reading_id) AS card_number,
        at_utc, who, software, retired_at_utc,
        recipe.id = (
            SELECT max(id) FROM recipe AS other WHERE other.head = recipe.head
                AND other.surface = recipe.surface AND other.retired_at_utc IS NULL
        ) AS is_in_force
    FROM recipe WHERE (?1 = '' OR head = ?1) AND (?2 = '' OR surface = ?2)
    ORDER BY recipe.id DESC LIMIT 500
"""
_CARD: Final = """
    SELECT number, kind, head, surface, found_on_json, gcode_sha256, at_utc, who, software,
        (SELECT max(id) FROM run WHERE run.gcode_sha256 = card.gcode_sha256) AS run_id,
        (SELECT ended FROM run WHERE run.gcode_sha256 = card.gcode_sha256
            ORDER BY id DESC LIMIT 1) AS run_ended,
        (SELECT max(id) FROM reading WHERE card_number = card.number) AS reading_id
"""
_CARDS: Final = f"""
    {_CARD} FROM card WHERE number < ?1 AND (?2 = '' OR head = ?2) AND (?3 = '' OR surface = ?3)
    ORDER BY number DESC LIMIT ?4
"""
_READING: Final = """
    SELECT reading.id, card_number, card.kind, card.head, card.surface, way, marks_json,
        photos_json, summary_json, recommended_json, chosen_json, chosen_by, chosen_at_utc,
        reading.at_utc, reading.who, reading.software
"""
_READINGS: Final = f"""
    {_READING} FROM reading JOIN card ON card.number = card_number
    WHERE reading.id < ?1 AND (?2 = '' OR head = ?2) AND (?3 = '' OR surface = ?3)
        AND (?4 IS NULL OR card_number = ?4)
    ORDER BY reading.id DESC LIMIT ?5
"""


def heads(book: sqlite3.Connection) -> dict[str, Any]:
    """Return every laser with its beam's seconds, all of them and since the lens was wiped."""
    return {"heads": fitting([opened(row) for row in select(book, _HEADS)])}


def surfaces(book: sqlite3.Connection) -> dict[str, Any]:
    """Return every surface as it is now."""
    found = select(book, "SELECT * FROM surface ORDER BY name LIMIT 500")
    return {"surfaces": fitting([opened(row) for row in found])}


def recipes(book: sqlite3.Connection, *, head: str, surface: str) -> dict[str, Any]:
    """Return recipes, newest first; empty names stand for all.

    In force is the newest of a head and a surface that was not retired.
    """
    found = select(book, _RECIPES, (head, surface))
    return {"recipes": fitting([_with_air_assist(opened(row)) for row in found])}


def cards(
    book: sqlite3.Connection, *, head: str, surface: str, before: int | None, limit: int
) -> dict[str, Any]:
    """Return cards, newest first, without their layouts, and the next number to be given."""
    asked = rows_asked(limit)
    first = LAST_ID if before is None else before
    found = [opened(row) for row in select(book, _CARDS, (first, head, surface, asked + 1))]
    page = fitting(found[:asked])
    (newest,) = book.execute("SELECT coalesce(max(number), 0) FROM card").fetchone()
    more = page[-1]["number"] if len(page) < len(found) else None
    return {"cards": page, "next_before": more, "next_number": newest + 1}


def card(book: sqlite3.Connection, *, number: int) -> dict[str, Any]:
    """Return one card with its layout, packed; raise CommandRefused."""
    found = select(
        book,
        f"{_CARD}, layout_packed FROM card WHERE number = ?",
        (number,),
    )
    if not found:
        raise CommandRefused(f"There is no card {number} in the logbook.")
    return opened(found[0])


def readings(
    book: sqlite3.Connection,
    *,
    head: str,
    surface: str,
    card: int | None,
    before: int | None,
    limit: int,
) -> dict[str, Any]:
    """Return readings, newest first, without what was measured patch by patch."""
    asked = rows_asked(limit)
    first = LAST_ID if before is None else before
    found = select(book, _READINGS, (first, head, surface, card, asked + 1))
    page = fitting([opened(row) for row in found[:asked]])
    return {"readings": page, "next_before": page[-1]["id"] if len(page) < len(found) else None}


def reading(book: sqlite3.Connection, *, id: int) -> dict[str, Any]:  # noqa: A002
    """Return one reading with what was measured, packed; raise CommandRefused."""
    found = select(
        book,
        f"{_READING}, measured_packed FROM reading JOIN card ON card.number = card_number"
        " WHERE reading.id = ?",
        (id,),
    )
    if not found:
        raise CommandRefused(f"There is no reading {id} in the logbook.")
    return opened(found[0])


def _with_air_assist(row: dict[str, Any]) -> dict[str, Any]:
    row["air_assist"] = row.pop("is_air_assist")  # the word that a job's sheet has for it
    return row
