"""What a row of an export may hold: what the logbook's readers and the page can take from it.

A right checksum says that a file is as somebody wrote it, not that it was ever a logbook's.
"""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, Final

from etchdaemon.errors import ExportRefused
from etchwire.catalogue.heads import Head
from etchwire.catalogue.lots import Lot
from etchwire.catalogue.orders import OrderItem, ShopFigures
from etchwire.catalogue.records import Surface
from etchwire.errors import MalformedMessage, WireError
from etchwire.packing import unpack
from etchwire.sheet import Sheet
from etchwire.transport.json_text import read_json

_WHOLE_NUMBERS: Final = range(-(2**63), 2**63)  # SQLite's (https://sqlite.org/datatype3.html)


def require_fit(table: str, row: Mapping[str, object]) -> None:
    """Raise ExportRefused for a value that no logbook of ours would hold, naming its column."""
    for column, value in row.items():
        try:
            _require_plain(value)
            if isinstance(value, str) and value:
                _reader_of(column)(value)
        except (WireError, ValueError) as error:
            raise ExportRefused(
                f"This export does not fit the logbook: {table}, {column}: {error}."
            ) from error


def _require_plain(value: object) -> None:
    if isinstance(value, int) and value not in _WHOLE_NUMBERS:
        raise MalformedMessage("the number is too large")
    if isinstance(value, (bool, dict, list)):
        raise MalformedMessage("it is neither a text nor a number")


def _json_in(text: str) -> Any:
    return read_json(text.encode(), called="it")


def _table_in(text: str) -> dict[str, object]:
    value = _json_in(text)
    if not isinstance(value, dict):
        raise MalformedMessage("it is no table")
    return value


def _list_in(text: str) -> None:
    if not isinstance(_json_in(text), list):
        raise MalformedMessage("it is no list")


_READERS: Final[Mapping[str, Callable[[str], object]]] = {
    "sheet_json": Sheet.from_json,
    "head_json": lambda text: Head.from_table(_table_in(text)),
    "surface_json": lambda text: Surface.from_table(_table_in(text)),
    "found_on_json": lambda text: Surface.from_table(_table_in(text)),
    "lot_json": lambda text: Lot.from_table(_table_in(text)),
    "item_json": lambda text: OrderItem.from_table(_table_in(text)),
    "figures_json": lambda text: ShopFigures.from_table(_table_in(text)),
    "photos_json": _list_in,
}
# By the last word of a column's name, where the column has no reader of its own.
_READERS_OF_KINDS: Final[Mapping[str, Callable[[str], object]]] = {
    "json": _table_in,
    "packed": lambda text: _table_in(unpack(text)),
    "utc": datetime.fromisoformat,
}


def _reader_of(column: str) -> Callable[[str], object]:
    of_kind = _READERS_OF_KINDS.get(column.rpartition("_")[2], str)
    return _READERS.get(column, of_kind)
