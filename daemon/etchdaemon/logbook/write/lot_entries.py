"""What is written of painting lots, jigs, and the tiles that jobs are etched on; see `entries`."""

import json
import sqlite3
from dataclasses import replace
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.schema.catalogue_steps import STATED_DRY_H
from etchdaemon.logbook.write.catalogue_entries import save_surface
from etchdaemon.logbook.write.insert_statements import Stamp, has, insert, put, require
from etchdaemon.logbook.write.order_entries import lots_of_set, require_accepted
from etchwire.calls.catalogue import AssignTile
from etchwire.catalogue.jigs import JigRecord
from etchwire.catalogue.lots import OVERNIGHT_H, Lot, dry_at_utc, is_dry, set_fault
from etchwire.catalogue.records import Surface

NOTHING_ASSIGNED: Final = "Say of which job, or of which run, the tile is."
_DRYING: Final = f"""
    SELECT lot_json, {STATED_DRY_H} FROM lot JOIN surface ON surface.name = lot.surface
    WHERE lot.name = ?
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
    if call.lot:
        require(book, "lot", call.lot)
    if call.lot and call.run is None:
        _require_dry(book, call.lot, stamp.at_utc)
    singly = () if call.item is None else (call.item,)
    for item in (*singly, *call.items):
        require_accepted(book, item, call.design_sha256 if item == call.item else "")
        if call.lot and (fault := set_fault([call.lot, *lots_of_set(book, item)])):
            raise CommandRefused(fault)
    columns = {
        "gcode_sha256": call.gcode_sha256 if call.run is None else "",  # of no later run
        "lot": call.lot or None,
        "item_id": call.item,
        "at_utc": stamp.at_utc,
        "who": stamp.who,
    }
    row = insert(book, "assignment", columns)
    if call.run is not None:
        book.execute("UPDATE run SET assignment_id = ? WHERE id = ?", (row, call.run))
    return row


def _require_dry(book: sqlite3.Connection, name: str, now_utc: str) -> None:
    lot_json, stated_h = book.execute(_DRYING, (name,)).fetchone()
    lot = Lot.from_table(json.loads(lot_json))
    dry_at = dry_at_utc(lot, OVERNIGHT_H if stated_h is None else stated_h)
    if not is_dry(dry_at, now_utc):
        raise CommandRefused(
            f"The paint of lot {name} is not dry before {dry_at[:16]} UTC: wet paint and its "
            "solvent burn."
        )
