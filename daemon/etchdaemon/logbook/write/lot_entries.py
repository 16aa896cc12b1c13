"""What is written of painting lots, jigs, and the tiles that jobs are etched on; see `entries`."""

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from msgspec import structs

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.schema.catalogue_steps import LOT_OF_TILE, STATED_DRY_H
from etchdaemon.logbook.write.catalogue_entries import save_surface
from etchdaemon.logbook.write.insert_statements import Stamp, has, insert, put, require
from etchdaemon.logbook.write.order_entries import lots_of_set, require_accepted
from etchwire.calls.catalogue import AssignedTile, AssignTile
from etchwire.catalogue.jigs import JigRecord
from etchwire.catalogue.lots import OVERNIGHT_H, Lot, dry_at_utc, is_dry, set_fault
from etchwire.catalogue.records import NAME_LIMIT, Surface

NOTHING_ASSIGNED: Final = "Say of which job, or of which run, the tile is."
_DRYING: Final = f"""
    SELECT lot_json, {STATED_DRY_H} FROM lot JOIN surface ON surface.name = lot.surface
    WHERE lot.name = ?
"""  # noqa: S608 (made of constants)
_LOTS_OF_MURAL: Final = f"""
    SELECT lot FROM assignment JOIN run ON assignment_id = assignment.id WHERE mural = ?1
    UNION
    SELECT {LOT_OF_TILE} FROM assignment_tile AS run_tile
    JOIN run ON run.assignment_id = run_tile.assignment_id WHERE run_tile.mural = ?1
"""  # noqa: S608 (made of constants)


def save_lot(book: sqlite3.Connection, *, lot: Lot, stamp: Stamp) -> int | None:
    """Write it over what stood under its name; raise CommandRefused for an unknown surface.

    A new lot is the one in use: its surface says so from then on, and a test is asked for.
    """
    require(book, "surface", lot.surface)
    is_new = not has(book, "lot", lot.name)
    columns = {
        "name": lot.name,
        "surface": lot.surface,
        "lot_json": json.dumps(lot.to_table()),
        "who": stamp.who,
        "changed_at_utc": stamp.at_utc,
    }
    row = put(book, "lot", columns)
    surface_json, is_practice = book.execute(
        "SELECT surface_json, is_practice FROM surface WHERE name = ?", (lot.surface,)
    ).fetchone()
    surface = Surface.from_table(json.loads(surface_json))
    if is_new or surface.lot == lot.name:
        in_use = _with_lot(surface, lot)
        save_surface(book, surface=in_use, stamp=stamp, is_practice=bool(is_practice))
    return row


def _with_lot(surface: Surface, lot: Lot) -> Surface:
    """Return the surface with what its lot says of box, can and coat."""
    return replace(
        surface,
        lot=lot.name,
        coated_on=lot.painted_at_utc[:10],
        tile=lot.tile or surface.tile,
        batch=lot.box or surface.batch,
        can=lot.can or surface.can,
        coats=lot.coats or surface.coats,
    )


def save_jig(book: sqlite3.Connection, *, jig: JigRecord, stamp: Stamp) -> int | None:
    """Write a jig over what stood under its name."""
    columns = {
        "name": jig.name,
        "jig_json": json.dumps(jig.to_table()),
        "who": stamp.who,
        "changed_at_utc": stamp.at_utc,
    }
    return put(book, "jig", columns)


def assign_tile(book: sqlite3.Connection, *, call: AssignTile, stamp: Stamp) -> int | None:
    """Write on which tile a job is etched next, or a run was.

    Raise CommandRefused for what is unknown, and for paint that is not dry.
    """
    if call.run is not None:
        require(book, "run", call.run, key="id")
    elif not call.gcode_sha256:
        raise CommandRefused(NOTHING_ASSIGNED)
    tiles = _tiles_said(call)
    for lot in sorted({one.lot for one in tiles if one.lot}):
        require(book, "lot", lot)
        if call.run is None:
            _require_dry(book, lot, stamp.at_utc)
    for item in {one.item for one in tiles if one.item is not None}:
        require_accepted(book, item, call.design_sha256 if item == call.item else "")
    _require_sets_of_one_lot(book, tiles)
    columns = {
        "gcode_sha256": call.gcode_sha256 if call.run is None else "",  # of no later run
        "lot": call.lot or None,
        "item_id": call.item,
        "mural": call.mural,
        "at_utc": stamp.at_utc,
        "who": stamp.who,
    }
    row = insert(book, "assignment", columns)
    for one in {tile.pocket: tile for tile in call.tiles}.values():
        book.execute(
            "INSERT INTO assignment_tile (assignment_id, pocket, lot, mural) VALUES (?, ?, ?, ?)",
            (row, one.pocket, one.lot or None, one.mural),
        )
    if call.run is not None:
        book.execute("UPDATE run SET assignment_id = ? WHERE id = ?", (row, call.run))
    return row


def _tiles_said(call: AssignTile) -> Sequence[AssignedTile]:
    """Return the tiles that a call is about, those without a pocket of their own as pocket 0."""
    singly = AssignedTile(pocket=0, lot=call.lot, item=call.item, mural=call.mural)
    for_items = (AssignedTile(pocket=0, lot=call.lot, item=item) for item in call.items)
    in_pockets = (structs.replace(one, lot=one.lot or call.lot) for one in call.tiles)
    return (singly, *for_items, *in_pockets)


def _require_sets_of_one_lot(book: sqlite3.Connection, tiles: Sequence[AssignedTile]) -> None:
    """Raise CommandRefused where tiles that hang side by side come from more lots than one."""
    for item in {one.item for one in tiles if one.item is not None}:
        lots = {one.lot for one in tiles if one.item == item and one.lot}
        if lots and (fault := set_fault(lots | set(lots_of_set(book, item)))):
            raise CommandRefused(fault)
    for mural in {one.mural for one in tiles if one.mural}:
        if len(mural) > NAME_LIMIT:
            raise CommandRefused(f"A mural's name has at most {NAME_LIMIT} characters.")
        lots = {one.lot for one in tiles if one.mural == mural and one.lot}
        etched = {lot for (lot,) in book.execute(_LOTS_OF_MURAL, (mural,)) if lot is not None}
        if lots and (fault := set_fault(lots | etched)):
            raise CommandRefused(fault)


def _require_dry(book: sqlite3.Connection, name: str, now_utc: str) -> None:
    lot_json, stated_h = book.execute(_DRYING, (name,)).fetchone()
    lot = Lot.from_table(json.loads(lot_json))
    dry_at = dry_at_utc(lot, OVERNIGHT_H if stated_h is None else stated_h)
    if not is_dry(dry_at, now_utc):
        raise CommandRefused(
            f"The paint of lot {name} is not dry before {dry_at[:16]} UTC: wet paint and its "
            "solvent burn."
        )
