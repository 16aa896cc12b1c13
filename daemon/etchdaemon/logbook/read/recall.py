"""What the daemon recalls of its earlier lives: nothing of it crosses the socket."""

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from etchdaemon.run.position_epoch import EarlierOrigin


@dataclass(frozen=True, slots=True, kw_only=True)
class PinMap:
    """The pins of the inputs as noted last, and which were `proven` at them since.

    `is_first`: no other was known before.
    """

    inputs_json: str
    is_first: bool
    proven: tuple[str, ...]


def proofs(book: sqlite3.Connection) -> Mapping[str, str]:
    """Return the day on which each safety contact was last seen to open, by its input."""
    found = book.execute("SELECT input, max(at_utc) FROM input_proof GROUP BY input")
    return {name: at_utc[:10] for name, at_utc in found}


def last_pin_map(book: sqlite3.Connection) -> PinMap | None:
    """Return the newest pin map; None where none was ever noted."""
    found = book.execute(
        "SELECT inputs_json, last_proof_id FROM pin_map ORDER BY id DESC LIMIT 2"
    ).fetchall()
    if not found:
        return None
    inputs_json, last_proof_id = found[0]
    proven = book.execute("SELECT DISTINCT input FROM input_proof WHERE id > ?", (last_proof_id,))
    return PinMap(
        inputs_json=inputs_json,
        is_first=len(found) == 1,
        proven=tuple(name for (name,) in proven),
    )


def last_relay_test(book: sqlite3.Connection) -> Mapping[str, object]:
    """Return the `day` of the safety relay's last test and whether it `has_passed`; else empty."""
    found = book.execute("SELECT at_utc, has_passed FROM relay_test ORDER BY id DESC").fetchone()
    return {} if found is None else {"day": found[0][:10], "has_passed": bool(found[1])}


def last_origin(book: sqlite3.Connection) -> EarlierOrigin | None:
    """Return the origin that was set last, by the last run that began from it.

    None where none was set, or it cannot be found again: the machine was not homed.
    """
    found = book.execute(
        "SELECT x_mm, y_mm, left_mm, bottom_mm, right_mm, top_mm,"
        " (SELECT max(id) FROM run WHERE id >= first_run_id)"
        " FROM origin ORDER BY id DESC LIMIT 1"
    ).fetchone()
    if found is None or found[2] is None:
        return None
    x_mm, y_mm, left_mm, bottom_mm, right_mm, top_mm, run = found
    ends_mm = ((left_mm, bottom_mm), (right_mm, top_mm))
    return EarlierOrigin(place_mm=(x_mm, y_mm), ends_mm=ends_mm, run=run)
