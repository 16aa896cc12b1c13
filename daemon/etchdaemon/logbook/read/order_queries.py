"""What is read of orders: their states follow from proofs, runs and verdicts, as on the wire."""

import json
import sqlite3
from collections import defaultdict
from collections.abc import Sequence
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.read.selecting import fitting, rows_asked, select
from etchdaemon.logbook.schema.catalogue_steps import LOT_OF_TILE
from etchwire.calls.orders import (
    ItemEntry,
    Order,
    OrderLine,
    Orders,
    OrdersPage,
    ProofEntry,
    Shop,
    ShopEntry,
    TileEntry,
    WholeOrder,
)
from etchwire.catalogue.order_states import (
    ItemFacts,
    is_enough,
    item_state,
    order_state,
    tiles_to_make,
)
from etchwire.catalogue.orders import SHOWN, YES, OrderItem, ShopFigures

# A tile is one chain of runs: its last run says how it ended, and bears the verdict.
_IS_LAST: Final = "NOT EXISTS (SELECT 1 FROM run AS later WHERE later.continues_run_id = run.id)"
_VERDICT: Final = "(SELECT verdict FROM verdict WHERE run_id = run.id ORDER BY id DESC LIMIT 1)"
# There is one bench: the loaded job's tile lies on it until it was etched. A tile that was stopped
# stays there until the next one, or a verdict.
_LOADED: Final = """(
    SELECT max(id) FROM assignment WHERE gcode_sha256 = (SELECT gcode_sha256 FROM loaded_job)
)"""
# A tile of a run of several is that of the last run of its chain that still had it to etch.
_TILE_ENDED: Final = """CASE
    WHEN coalesce(run.etched_rows, 0) >= run_tile.first_row + run_tile.rows THEN 'complete'
    WHEN run.etched_rows < run_tile.first_row THEN 'not begun'
    ELSE run.ended END"""
_TILE_VERDICT: Final = """(
    SELECT verdict FROM verdict WHERE run_id = run.id AND verdict.pocket = run_tile.pocket
    ORDER BY id DESC LIMIT 1)"""
_TILE_IS_LAST: Final = """NOT EXISTS (
    SELECT 1 FROM run AS later JOIN run_tile AS rest ON rest.run_id = later.id
    WHERE later.continues_run_id = run.id AND rest.pocket = run_tile.pocket)"""
_FACTS: Final = f"""
    WITH tile AS (
        SELECT item_id, assignment.id AS assignment_id, run.id AS run_id, ended,
            {_VERDICT} AS verdict
        FROM assignment LEFT JOIN run ON run.assignment_id = assignment.id AND {_IS_LAST}
        WHERE item_id IS NOT NULL
            AND (?1 IS NULL OR item_id IN (SELECT id FROM order_item WHERE order_id = ?1))
        UNION ALL
        SELECT item_id, NULL, run.id, {_TILE_ENDED}, {_TILE_VERDICT}
        FROM run_tile JOIN run ON run.id = run_id
        WHERE item_id IS NOT NULL AND {_TILE_IS_LAST}
            AND (?1 IS NULL OR item_id IN (SELECT id FROM order_item WHERE order_id = ?1))
    )
    SELECT order_id, item.id, tiles, total(verdict = 'good'), total(verdict <> 'good'),
        total(ended = 'complete' AND verdict IS NULL),
        total(verdict IS NULL AND ended IS NOT 'complete' AND (
            CASE WHEN run_id IS NULL THEN assignment_id = {_LOADED}
            ELSE ended IS NULL OR assignment_id = (SELECT max(id) FROM assignment) END
        ))
    FROM order_item AS item LEFT JOIN tile ON tile.item_id = item.id
    WHERE ?1 IS NULL OR order_id = ?1 GROUP BY item.id
"""  # noqa: S608 (made of constants)
_Row = tuple[int, int, int, float, float, float, float]  # order, item, and the figures of its facts
_HEADS: Final = "SELECT id, customer, due_on FROM customer_order ORDER BY due_on = '', due_on, id"
_ANSWER: Final = """
    SELECT answer, proof.shown_sha256 = order_item.shown_sha256
    FROM proof JOIN order_item ON order_item.id = item_id
    WHERE item_id = ? ORDER BY proof.id DESC LIMIT 1
"""

_TILES: Final = f"""
    WITH RECURSIVE chain AS (
        SELECT run.id AS last_id, run.*
        FROM assignment JOIN run ON run.assignment_id = assignment.id
        WHERE item_id = ?1 AND {_IS_LAST}
        UNION ALL
        SELECT chain.last_id, run.* FROM chain JOIN run ON run.id = chain.continues_run_id
    )
    SELECT run.id AS run_id, (SELECT lot FROM assignment WHERE id = run.assignment_id) AS lot,
        run.ended, {_VERDICT} AS verdict, coalesce(sum(chain.elapsed_s), 0.0) AS elapsed_s,
        coalesce(sum(chain.beam_s), 0.0) AS beam_s
    FROM chain JOIN run ON run.id = chain.last_id GROUP BY run.id ORDER BY run.id
"""  # noqa: S608 (made of constants)
# Of a run of several a tile has the share of its rows.
_BENCH_TILES: Final = f"""
    SELECT run.id AS run_id, {LOT_OF_TILE} AS lot,
        {_TILE_ENDED} AS ended, {_TILE_VERDICT} AS verdict,
        coalesce(elapsed_s, 0.0) * run_tile.rows / run.rows AS elapsed_s,
        coalesce(beam_s, 0.0) * run_tile.rows / run.rows AS beam_s
    FROM run_tile JOIN run ON run.id = run_id
    WHERE item_id = ? AND {_TILE_IS_LAST} ORDER BY run.id, run_tile.first_row
"""  # noqa: S608 (made of constants)
_PROOFS: Final = """
    SELECT answer, shown_sha256, way, at_utc, who, shown_sha256 = ?2 AS is_current
    FROM proof WHERE item_id = ?1 ORDER BY id DESC LIMIT 20
"""
_TRIALS: Final = """
    SELECT DISTINCT json_extract(summary_json, '$.trial') FROM reading
    JOIN card ON card.number = card_number
    WHERE card.surface = ? AND json_extract(summary_json, '$.trial') IS NOT NULL ORDER BY 1
"""
_TEST_TILES: Final = """
    SELECT sum(is_card), sum(NOT is_card) FROM (
        SELECT EXISTS (SELECT 1 FROM card WHERE card.gcode_sha256 = run.gcode_sha256) AS is_card
        FROM run WHERE surface = ? AND continues_run_id IS NULL
    )
"""


def orders(book: sqlite3.Connection, call: Orders) -> OrdersPage:
    """Return open or done orders, those due first first; a day that nobody named comes last.

    Thousands are done: more than the count of their good tiles is looked at on the page alone.
    """
    items: dict[int, list[_Row]] = defaultdict(list)
    for row in book.execute(_FACTS, (None,)):
        items[row[0]].append(row)
    heads = book.execute(_HEADS).fetchall()
    found = [head for head in heads if _is_done(items[head[0]]) is call.is_done]
    if call.is_done:
        found.reverse()
    asked = found[call.from_place :][: rows_asked(call.limit)]
    page = fitting([_line(book, head, items[head[0]]) for head in asked])
    end = call.from_place + len(page)
    return OrdersPage(orders=page, total=len(found), next_from=end if end < len(found) else None)


def order(book: sqlite3.Connection, call: Order) -> WholeOrder:
    """Return one order with its items; raise CommandRefused."""
    found = book.execute("SELECT * FROM customer_order WHERE id = ?", (call.id,))
    names = [column[0] for column in found.description]
    row = found.fetchone()
    if row is None:
        raise CommandRefused(f"There is no order {call.id} in the logbook.")
    items = tuple(_item(book, row) for row in book.execute(_FACTS, (call.id,)).fetchall())
    state = order_state(one.state for one in items)
    return WholeOrder(**dict(zip(names, row, strict=True)), items=items, state=state)


def shop(book: sqlite3.Connection, _call: Shop) -> ShopEntry:
    """Return what a tile costs the shop."""
    found = book.execute("SELECT figures_json, who, changed_at_utc FROM shop").fetchone()
    figures_json, who, changed_at_utc = found or ("{}", "", "")
    figures = ShopFigures.from_table(json.loads(figures_json))
    return ShopEntry(figures=figures, who=who, changed_at_utc=changed_at_utc)


def _is_done(items: Sequence[_Row]) -> bool:
    return bool(items) and all(is_enough(good=good, count=count) for _, _, count, good, *_ in items)


def _facts(book: sqlite3.Connection, row: _Row) -> ItemFacts:
    _, item, count, good, bad, unjudged, on_bench = map(int, row)
    answer, is_current = book.execute(_ANSWER, (item,)).fetchone() or (None, False)
    return ItemFacts(
        count=count,
        good=good,
        bad=bad,
        unjudged=unjudged,
        on_bench=on_bench,
        is_shown=bool(is_current) and answer in (SHOWN, YES),
        is_accepted=bool(is_current) and answer == YES,
    )


def _line(book: sqlite3.Connection, head: tuple[int, str, str], items: Sequence[_Row]) -> OrderLine:
    order_id, customer, due_on = head
    facts = [_facts(book, row) for row in items]
    return OrderLine(
        id=order_id,
        customer=customer,
        due_on=due_on,
        state=order_state(map(item_state, facts)),
        tiles=sum(one.count for one in facts),
        good=sum(one.good for one in facts),
        to_make=sum(map(tiles_to_make, facts)),
    )


def _item(book: sqlite3.Connection, row: _Row) -> ItemEntry:
    item_id, facts = row[1], _facts(book, row)
    (item_json,) = book.execute(
        "SELECT item_json FROM order_item WHERE id = ?", (item_id,)
    ).fetchone()
    item = OrderItem.from_table(json.loads(item_json) | {"id": item_id})
    surface = book.execute("SELECT 1 FROM surface WHERE name = ?", (item.surface,)).fetchone()
    tiles = [
        *select(book, TileEntry, _TILES, (item_id,)),
        *select(book, TileEntry, _BENCH_TILES, (item_id,)),
    ]
    cards, others = book.execute(_TEST_TILES, (item.surface,)).fetchone()
    return ItemEntry(
        id=item_id,
        item=item,
        fingerprint=item.fingerprint,
        state=item_state(facts),
        to_make=tiles_to_make(facts),
        is_surface_known=surface is not None,
        trials=tuple(trial for (trial,) in book.execute(_TRIALS, (item.surface,))),
        test_tiles_ratio=(cards or 0) / others if others else 0.0,
        proofs=tuple(select(book, ProofEntry, _PROOFS, (item_id, item.fingerprint))),
        tiles=tuple(sorted(tiles, key=lambda tile: tile.run_id)),
    )
