"""The time line of one laser on one surface, and what tells when to test again."""

import sqlite3
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.read.catalogue_queries import heads, recipes
from etchdaemon.logbook.read.selecting import (
    LAST_ID,
    as_entries,
    fitting,
    rows_asked,
    select,
)
from etchwire.calls.catalogue import Heads, RecipeEntry, Recipes, SurfaceEntry
from etchwire.calls.time_line import (
    EVENT_TYPES,
    History,
    LateReading,
    LateRun,
    LateVerdict,
    PairHistory,
    TimeLine,
    TimeLineEvent,
    TimeLinePage,
)
from etchwire.transport.json_text import JsonTable

SECONDS_PER_HOUR: Final = 3600.0
LATELY: Final = 20
_SAME_RECIPE: Final = (
    "feed_mm_per_min", "power_ratio", "line_spacing_mm", "air_assist", "found_on",
)  # fmt: skip

_EVENTS: Final = """
    SELECT 'lens wiped' AS kind, id, at_utc, after_run_id, json_object('who', who)
        AS numbers_json FROM lens_wipe WHERE head = ?1
    UNION ALL
    SELECT 'card', number, at_utc, after_run_id, json_object(
        'card_kind', kind, 'who', who,
        'run_id', (SELECT max(id) FROM run WHERE run.gcode_sha256 = card.gcode_sha256)
    ) FROM card WHERE head = ?1 AND surface = ?2
    UNION ALL
    SELECT 'run', id, started_at_utc, id, json_object(
        'title', title, 'ended', ended, 'elapsed_s', elapsed_s, 'beam_s', beam_s,
        'feed_asked_mm_per_min', recipe_feed_mm_per_min, 'feed_run_mm_per_min', feed_run_mm_per_min,
        'power_asked_ratio', recipe_power_ratio, 'power_run_ratio', power_run_ratio,
        'line_spacing_mm', recipe_line_spacing_mm, 'etched_rows', etched_rows, 'rows', rows,
        'card_number', (SELECT max(number) FROM card WHERE card.gcode_sha256 = run.gcode_sha256),
        'verdict', (SELECT verdict FROM verdict WHERE run_id = run.id AND pocket IS NULL
            ORDER BY id DESC LIMIT 1)
    ) FROM run WHERE head = ?1 AND surface = ?2
    UNION ALL
    SELECT 'reading', reading.id, reading.at_utc, reading.after_run_id, json_object(
        'card_number', card_number, 'card_kind', card.kind, 'way', way, 'who', reading.who,
        'summary', json(summary_json), 'recommended', json(recommended_json),
        'chosen', json(chosen_json), 'chosen_by', chosen_by
    ) FROM reading JOIN card ON card.number = card_number WHERE head = ?1 AND surface = ?2
    UNION ALL
    SELECT 'recipe', id, at_utc, after_run_id, json_object(
        'feed_mm_per_min', feed_mm_per_min, 'power_ratio', power_ratio,
        'line_spacing_mm', line_spacing_mm, 'is_air_assist', is_air_assist,
        'is_tone_measured', tone_curve_json IS NOT NULL, 'origin', origin,
        'reading_id', reading_id, 'who', who, 'retired_at_utc', retired_at_utc
    ) FROM recipe WHERE head = ?1 AND surface = ?2
    UNION ALL
    SELECT 'verdict', verdict.id, verdict.at_utc, verdict.after_run_id, json_object(
        'run_id', run_id, 'verdict', verdict, 'cause', cause, 'note', note, 'who', verdict.who
    ) FROM verdict JOIN run ON run.id = run_id WHERE head = ?1 AND surface = ?2
"""
_TIME_LINE: Final = f"""
    SELECT happening.id AS place, event.* FROM ({_EVENTS}) AS event
    JOIN happening ON happening.kind = event.kind AND happening.entry_id = event.id
    WHERE happening.id < ?3 ORDER BY happening.id DESC LIMIT ?4
"""  # noqa: S608 (made of constants)

_NO_CARD: Final = "gcode_sha256 NOT IN (SELECT gcode_sha256 FROM card)"
_LATE_RUNS: Final = f"""
    SELECT * FROM (
        SELECT id, recipe_feed_mm_per_min AS feed_asked_mm_per_min, feed_run_mm_per_min FROM run
        WHERE head = ?1 AND surface = ?2 AND id > ?3 AND ended = 'complete' AND {_NO_CARD}
        ORDER BY id DESC LIMIT {LATELY}
    ) ORDER BY id
"""  # noqa: S608 (made of constants)
_LATE_VERDICTS: Final = f"""
    SELECT * FROM (
        SELECT run_id, verdict, cause FROM verdict JOIN run ON run.id = run_id
        WHERE head = ?1 AND surface = ?2 AND run_id > ?3
            AND verdict.id = (SELECT max(id) FROM verdict AS later WHERE later.run_id = run.id)
        ORDER BY run_id DESC LIMIT {LATELY}
    ) ORDER BY run_id
"""  # noqa: S608 (made of constants)
_LATE_READINGS: Final = f"""
    SELECT id, at_utc, summary_json FROM (
        SELECT reading.id, reading.at_utc, summary_json,
            row_number() OVER (ORDER BY reading.id) AS place,
            row_number() OVER (ORDER BY reading.id DESC) AS from_newest
        FROM reading
        JOIN card ON card.number = card_number
        WHERE head = ?1 AND surface = ?2
            AND json_extract(summary_json, '$.lightness_at_recipe') IS NOT NULL
            AND iif(?4 IS NULL, reading.after_run_id >= ?3, reading.id >= ?4)
    ) WHERE place = 1 OR from_newest < {LATELY} ORDER BY id
"""  # noqa: S608 (made of constants)
_LAST_CARD_RUN: Final = """
    SELECT max(run.id) FROM run JOIN card ON card.gcode_sha256 = run.gcode_sha256
    WHERE card.head = ? AND card.surface = ?
"""


def time_line(book: sqlite3.Connection, call: TimeLine) -> TimeLinePage:
    """Return what happened with a head on a surface, newest first.

    `beam_h` are the laser's hours of beam up to then. `next_before` asks for more.
    """
    most_rows = rows_asked(call.limit)
    values = (call.head, call.surface, _place(call.before), most_rows + 1)
    found = select(book, _Happening, _TIME_LINE, values)
    hours = _BeamHours(book, call.head)
    page = fitting([_as_event(one, hours) for one in found[:most_rows]])
    more = str(found[len(page) - 1].place) if len(page) < len(found) else None
    return TimeLinePage(events=page, next_before=more)


def history(book: sqlite3.Connection, call: History) -> PairHistory:
    """Return the figures from which `etchproof.drift.advice` tells whether to test again.

    Each series runs from old to new and begins with the recipe in force; its readings begin with
    the one that first led to its settings.
    """
    pair = (call.head, call.surface)
    heads_by_name = {one.name: one for one in heads(book, Heads()).heads}
    kept = recipes(book, Recipes(head=call.head, surface=call.surface)).recipes
    in_force = next((one for one in kept if one.is_in_force), None)
    made_after = 0
    if in_force is not None:
        (made_after,) = book.execute(
            "SELECT after_run_id FROM recipe WHERE id = ?", (in_force.id,)
        ).fetchone()
    (card_run,) = book.execute(_LAST_CARD_RUN, pair).fetchone()
    hours = _BeamHours(book, call.head)
    surfaces = select(book, SurfaceEntry, "SELECT * FROM surface WHERE name = ?", (call.surface,))
    since = (*pair, made_after)
    first_reading = None if in_force is None else _first_reading(in_force, kept)
    return PairHistory(
        head=heads_by_name.get(call.head),
        surface=surfaces[0] if surfaces else None,
        recipe=in_force,
        beam_h_since_card=hours.total - hours.up_to(made_after if card_run is None else card_run),
        runs=tuple(select(book, LateRun, _LATE_RUNS, since)),
        verdicts=tuple(select(book, LateVerdict, _LATE_VERDICTS, since)),
        readings=tuple(select(book, LateReading, _LATE_READINGS, (*since, first_reading))),
    )


def _first_reading(in_force: RecipeEntry, kept: Sequence[RecipeEntry]) -> int | None:
    """Return the reading that first led to these settings, None where a hand wrote them down.

    Greys, or a strip on which the recipe holds, file the same settings again: a fade goes on
    through them. A new can, box or way of wiping begins anew, as other settings do.
    """
    first = in_force
    for one in kept:  # newest first
        if in_force.reading_id is None or one.id >= in_force.id:
            continue
        is_same = all(getattr(one, name) == getattr(in_force, name) for name in _SAME_RECIPE)
        if not is_same or one.reading_id is None:
            break
        first = one
    return first.reading_id


@dataclass(frozen=True, slots=True, kw_only=True)
class _Happening:
    """A row of the time line; `numbers` are what its kind has besides."""

    place: int
    kind: str
    id: int
    at_utc: str
    after_run_id: int
    numbers: JsonTable


class _BeamHours:
    """How long a head's beam was on, from run to run."""

    def __init__(self, book: sqlite3.Connection, head: str) -> None:
        rows = book.execute(
            "SELECT id, coalesce(beam_s, 0) FROM run WHERE head = ? ORDER BY id", (head,)
        ).fetchall()
        self._runs = [run for run, _ in rows]
        self._sums_h: list[float] = [
            0.0,
            *accumulate(beam_s / SECONDS_PER_HOUR for _, beam_s in rows),
        ]

    @property
    def total(self) -> float:
        return self._sums_h[-1]

    def up_to(self, run: int) -> float:
        return self._sums_h[bisect_right(self._runs, run)]


def _place(before: str) -> int:
    if not before:
        return LAST_ID
    if not (before.isascii() and before.isdigit() and len(before) <= len(str(LAST_ID))):
        raise CommandRefused(f"{before!r:.60} is no place on the time line.")
    return min(int(before), LAST_ID)


def _as_event(one: _Happening, hours: _BeamHours) -> TimeLineEvent:
    kind = EVENT_TYPES[one.kind]
    return kind(
        at_utc=one.at_utc,
        kind=one.kind,
        id=one.id,
        beam_h=round(hours.up_to(one.after_run_id), 4),
        **as_entries(kind, one.numbers),
    )
