"""What is read of the catalogue: lasers, surfaces, recipes, cards and readings, as on the wire."""

import json
import sqlite3
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.read.selecting import LAST_ID, fitting, rows_asked, select
from etchdaemon.logbook.schema.catalogue_steps import STATED_DRY_H
from etchwire.calls.catalogue import (
    Card,
    CardEntry,
    Cards,
    CardsPage,
    Filter,
    FilterEntry,
    HeadEntry,
    HeadList,
    Heads,
    JigEntry,
    JigList,
    Jigs,
    LotEntry,
    LotList,
    Lots,
    Reading,
    ReadingEntry,
    Readings,
    ReadingsPage,
    RecipeEntry,
    RecipeList,
    Recipes,
    SurfaceEntry,
    SurfaceList,
    Surfaces,
    WholeCard,
    WholeReading,
)
from etchwire.catalogue.lots import OVERNIGHT_H, Lot, dry_at_utc

_HEADS: Final = """
    SELECT head.*,
        coalesce((SELECT sum(beam_s) FROM run WHERE run.head = head.name), 0) AS beam_s,
        wipe.at_utc AS lens_wiped_at_utc,
        iif(wipe.id IS NULL, NULL, coalesce((
            SELECT sum(beam_s) FROM run WHERE run.head = head.name AND run.id > wipe.after_run_id
        ), 0)) AS beam_since_wipe_s, (
            SELECT json_object('reading', reading.id, 'at_utc', chosen_at_utc,
                'give_or_take_mm', json_extract(chosen_json, '$.spot.give_or_take_mm'))
            FROM reading JOIN card ON card.number = card_number
            WHERE card.head = head.name
                AND json_extract(chosen_json, '$.spot.spot_x_mm')
                    = json_extract(head_json, '$.spot_x_mm')
                AND json_extract(chosen_json, '$.spot.spot_y_mm')
                    = json_extract(head_json, '$.spot_y_mm')
            ORDER BY reading.id DESC LIMIT 1
        ) AS spot_found_json
    FROM head LEFT JOIN lens_wipe AS wipe
        ON wipe.id = (SELECT max(id) FROM lens_wipe WHERE lens_wipe.head = head.name)
    ORDER BY head.name
"""
_FILTER: Final = """
    SELECT change.at_utc AS changed_at_utc,
        coalesce((SELECT sum(beam_s) FROM run
            WHERE run.id > coalesce(change.after_run_id, 0)), 0.0) AS beam_since_change_s,
        coalesce((SELECT json_extract(figures_json, '$.filter_limit_h') FROM shop), 0.0) AS limit_h
    FROM (SELECT max(id) AS newest FROM filter_change)
    LEFT JOIN filter_change AS change ON change.id = newest
"""
_LOTS: Final = f"""
    WITH etched AS (
        SELECT coalesce(
            (SELECT lot FROM assignment_tile WHERE assignment_id = assignment.id
                AND assignment_tile.pocket = run_tile.pocket),
            assignment.lot
        ) AS lot
        FROM run JOIN assignment ON assignment.id = assignment_id
        LEFT JOIN run_tile ON run_id = run.id WHERE continues_run_id IS NULL
    ), counted AS (SELECT lot, count(*) AS tiles FROM etched GROUP BY lot)
    SELECT lot.name, lot_json, lot.who, lot.changed_at_utc, {STATED_DRY_H} AS stated_h,
        coalesce((SELECT tiles FROM counted WHERE counted.lot = lot.name), 0) AS runs
    FROM lot JOIN surface ON surface.name = lot.surface WHERE ?1 = '' OR lot.surface = ?1
    ORDER BY json_extract(lot_json, '$.painted_at_utc') DESC, lot.name LIMIT 500
"""  # noqa: S608 (made of constants)
_RECIPES: Final = """
    SELECT recipe.id, head, surface, found_on_json, feed_mm_per_min, power_ratio, line_spacing_mm,
        halftone, tone_curve_json, origin, reading_id,
        (SELECT card_number FROM reading WHERE reading.id = recipe.reading_id) AS card_number,
        at_utc, who, software, retired_at_utc,
        recipe.id = (
            SELECT max(id) FROM recipe AS other WHERE other.head = recipe.head
                AND other.surface = recipe.surface AND other.retired_at_utc IS NULL
        ) AS is_in_force, is_air_assist AS air_assist
    FROM recipe WHERE (?1 = '' OR head = ?1) AND (?2 = '' OR surface = ?2)
    ORDER BY recipe.id DESC LIMIT 500
"""
_CARD: Final = """
    SELECT number, kind, head, surface, found_on_json, gcode_sha256, at_utc, who, software,
        (SELECT max(id) FROM run WHERE run.gcode_sha256 = card.gcode_sha256) AS run_id,
        (SELECT ended FROM run WHERE run.gcode_sha256 = card.gcode_sha256
            ORDER BY id DESC LIMIT 1) AS run_ended,
        (SELECT max(id) FROM reading WHERE card_number = card.number) AS reading_id, place_json
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


def heads(book: sqlite3.Connection, _call: Heads) -> HeadList:
    """Return every laser with its beam's seconds, all of them and since the lens was wiped."""
    return HeadList(heads=fitting(select(book, HeadEntry, _HEADS)))


def extraction_filter(book: sqlite3.Connection, _call: Filter) -> FilterEntry:
    """Return the filter's seconds of beam since it was changed, and the shop's limit."""
    (found,) = select(book, FilterEntry, _FILTER)
    return found


def surfaces(book: sqlite3.Connection, _call: Surfaces) -> SurfaceList:
    """Return every surface as it is now."""
    found = select(book, SurfaceEntry, "SELECT * FROM surface ORDER BY name LIMIT 500")
    return SurfaceList(surfaces=fitting(found))


def lots(book: sqlite3.Connection, call: Lots) -> LotList:
    """Return painting lots, the one painted last first, and when each is dry."""
    found = [_lot(*row) for row in book.execute(_LOTS, (call.surface,))]
    return LotList(lots=fitting(found))


def _lot(
    name: str, lot_json: str, who: str, changed_at_utc: str, stated_h: float | None, runs: int
) -> LotEntry:
    lot = Lot.from_table(json.loads(lot_json))
    dry_after_h = OVERNIGHT_H if stated_h is None else stated_h
    return LotEntry(
        name=name,
        lot=lot,
        dry_after_h=dry_after_h,
        is_overnight_assumed=stated_h is None,
        dry_at_utc=dry_at_utc(lot, dry_after_h),
        runs=runs,
        who=who,
        changed_at_utc=changed_at_utc,
    )


def jigs(book: sqlite3.Connection, _call: Jigs) -> JigList:
    """Return the jigs of this machine, by their names."""
    found = select(book, JigEntry, "SELECT * FROM jig ORDER BY name LIMIT 500")
    return JigList(jigs=fitting(found))


def recipes(book: sqlite3.Connection, call: Recipes) -> RecipeList:
    """Return recipes, newest first; empty names stand for all.

    In force is the newest of a head and a surface that was not retired.
    """
    return RecipeList(
        recipes=fitting(select(book, RecipeEntry, _RECIPES, (call.head, call.surface)))
    )


def cards(book: sqlite3.Connection, call: Cards) -> CardsPage:
    """Return cards, newest first, without their layouts, and the next number to be given."""
    most_rows = rows_asked(call.limit)
    first = LAST_ID if call.before is None else call.before
    found = select(book, CardEntry, _CARDS, (first, call.head, call.surface, most_rows + 1))
    page = fitting(found[:most_rows])
    (newest,) = book.execute("SELECT coalesce(max(number), 0) FROM card").fetchone()
    more = page[-1].number if len(page) < len(found) else None
    return CardsPage(cards=page, next_before=more, next_number=newest + 1)


def card(book: sqlite3.Connection, call: Card) -> WholeCard:
    """Return one card with its layout, packed; raise CommandRefused."""
    found = select(
        book,
        WholeCard,
        f"{_CARD}, layout_packed FROM card WHERE number = ?",
        (call.number,),
    )
    if not found:
        raise CommandRefused(f"There is no card {call.number} in the logbook.")
    return found[0]


def readings(book: sqlite3.Connection, call: Readings) -> ReadingsPage:
    """Return readings, newest first, without what was measured patch by patch."""
    most_rows = rows_asked(call.limit)
    first = LAST_ID if call.before is None else call.before
    values = (first, call.head, call.surface, call.card, most_rows + 1)
    found = select(book, ReadingEntry, _READINGS, values)
    page = fitting(found[:most_rows])
    return ReadingsPage(readings=page, next_before=page[-1].id if len(page) < len(found) else None)


def reading(book: sqlite3.Connection, call: Reading) -> WholeReading:
    """Return one reading with what was measured, packed; raise CommandRefused."""
    found = select(
        book,
        WholeReading,
        f"{_READING}, measured_packed FROM reading JOIN card ON card.number = card_number"
        " WHERE reading.id = ?",
        (call.id,),
    )
    if not found:
        raise CommandRefused(f"There is no reading {call.id} in the logbook.")
    return found[0]
