"""What is written of lasers, surfaces and recipes: functions as in `entries`."""

import json
import sqlite3

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.write.insert_statements import (
    Stamp,
    changed,
    insert,
    made,
    newest_run,
    pair,
    put,
    require,
)
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECORDS, PRACTICE_SURFACES
from etchwire.catalogue.heads import Head
from etchwire.catalogue.records import RecipeRecord, Surface


def save_head(
    book: sqlite3.Connection, head: Head, notes: str, stamp: Stamp, *, is_practice: bool = False
) -> int | None:
    """Write a laser's description over what stood under its name."""
    columns = {
        "name": head.name,
        "head_json": json.dumps(head.to_table()),
        "notes": notes,
        **changed(stamp, is_practice=is_practice),
    }
    return put(book, "head", columns)


def wipe_lens(book: sqlite3.Connection, head: str, stamp: Stamp) -> int | None:
    """Write, behind the newest run, that a laser's lens is clean; raise CommandRefused."""
    require(book, "head", head)
    columns = {
        "head": head,
        "at_utc": stamp.at_utc,
        "after_run_id": newest_run(book),
        "who": stamp.who,
    }
    return insert(book, "lens_wipe", columns)


def change_filter(book: sqlite3.Connection, stamp: Stamp) -> int | None:
    """Write, behind the newest run, that the extraction has a new filter."""
    columns = {"at_utc": stamp.at_utc, "after_run_id": newest_run(book), "who": stamp.who}
    return insert(book, "filter_change", columns)


def save_surface(
    book: sqlite3.Connection, surface: Surface, stamp: Stamp, *, is_practice: bool = False
) -> int | None:
    """Write a surface's description over what stood under its name."""
    columns = {
        "name": surface.name,
        "surface_json": json.dumps(surface.to_table()),
        **changed(stamp, is_practice=is_practice),
    }
    return put(book, "surface", columns)


def save_recipe(book: sqlite3.Connection, recipe: RecipeRecord, stamp: Stamp) -> int | None:
    """Write a recipe, in force from now on, with the surface as it is now.

    Raise CommandRefused for unknown names.
    """
    if recipe.reading is not None:
        require(book, "reading", recipe.reading, key="id")
    curve = recipe.tone_curve
    columns = {
        **pair(book, recipe.head, recipe.surface),
        "feed_mm_per_min": recipe.feed_mm_per_min,
        "power_ratio": recipe.power_ratio,
        "line_spacing_mm": recipe.line_spacing_mm,
        "is_air_assist": recipe.air_assist,
        "halftone": recipe.halftone,
        "tone_curve_json": None if curve is None else json.dumps(curve),
        "origin": recipe.origin,
        "reading_id": recipe.reading,
        **made(stamp, book),
    }
    return insert(book, "recipe", columns)


def retire_recipe(book: sqlite3.Connection, recipe: int, stamp: Stamp) -> int | None:
    """Mark a recipe as out of force and keep it: runs and readings lead to it.

    Raise CommandRefused where there is none, or it is marked already.
    """
    require(book, "recipe", recipe, key="id")
    marked = book.execute(
        "UPDATE recipe SET retired_at_utc = ? WHERE id = ? AND retired_at_utc IS NULL",
        (stamp.at_utc, recipe),
    )
    if not marked.rowcount:
        raise CommandRefused(f"Recipe {recipe} is retired already.")
    return recipe


def introduce_practice(book: sqlite3.Connection, stamp: Stamp) -> None:
    """Write the invented catalogue that a practice session begins with, marked as practice.

    A logbook that knows a laser keeps what it has.
    """
    if book.execute("SELECT count(*) FROM head").fetchone() != (0,):
        return
    for head in PRACTICE_HEADS.values():
        save_head(book, head, "", stamp, is_practice=True)
    for surface in PRACTICE_SURFACES:
        save_surface(book, surface, stamp, is_practice=True)
    for recipe in PRACTICE_RECORDS.values():
        save_recipe(book, recipe, stamp)
