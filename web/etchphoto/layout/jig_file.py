"""A jig as a file of ours."""

from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import Any, Final

from etchphoto.errors import UnfitDesign
from etchphoto.layout.jig import Corners, Jig, Pockets
from etchphoto.layout.tables import (
    name_in,
    part_of,
    read_file,
    refuse_unknown,
    require_format,
)
from etchwire.catalogue.jigs import Side

FORMAT: Final = "etchwarden-jig"
VERSION: Final = 1
_ENTRIES: Final = (
    "format",
    "version",
    "name",
    "exhaust",
    "tile_mm",
    "focus_depth_mm",
    "pockets",
    "corners",
)


def read_jig(path: Path, corners: Corners | None = None) -> Jig:
    """Read a jig from its TOML; raise UnfitDesign, with name and line of what is amiss.

    `corners` were measured just now, and count instead of what the file says of them.
    """
    return read_file(path, partial(jig_of_table, measured=corners))


def jig_of_table(
    table: Mapping[str, Any], text: str = "", *, measured: Corners | None = None
) -> Jig:
    """Return the jig of a table; `text` is where lines are looked up."""
    require_format(table, FORMAT, VERSION, "jig")
    refuse_unknown(_ENTRIES, table, ("the jig", 0, text))
    pockets, corners = table.get("pockets"), table.get("corners", {} if measured else None)
    exhaust = table.get("exhaust", Side.BACK)
    if not isinstance(pockets, Mapping) or not isinstance(corners, Mapping):
        raise UnfitDesign("a jig needs [pockets], and [corners] as they were measured")
    if exhaust not in tuple(Side):
        raise UnfitDesign(f"the exhaust is at the {', '.join(Side)}, not {exhaust!r}")
    return Jig(
        name=name_in(table, "jig"),
        pockets=part_of(Pockets, pockets, ("the table of pockets", 0, text)),
        corners=measured or part_of(Corners, corners, ("the table of corners", 0, text)),
        exhaust=Side(exhaust),
        **{name: _mm_in(table, name) for name in ("tile_mm", "focus_depth_mm")},
    )


def _mm_in(table: Mapping[str, Any], name: str) -> float:
    value = table.get(name, 0.0)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise UnfitDesign(f"the jig's {name} is a number of millimetres, not {value!r:.40}")
    return float(value)
