"""A mural as a file of ours."""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from etchphoto.errors import UnfitDesign
from etchphoto.layout.design import PhotoLayer
from etchphoto.layout.design_file import layers_of
from etchphoto.layout.mural import Mural, TileShade, Wall
from etchphoto.layout.tables import (
    name_in,
    part_of,
    read_file,
    refuse_unknown,
    require_format,
    table_number,
)

FORMAT: Final = "etchwarden-mural"
VERSION: Final = 1
_ENTRIES: Final = ("format", "version", "name", "wall", "photo", "layer", "tile")


def read_mural(path: Path) -> Mural:
    """Read a mural from its TOML; raise UnfitDesign, with name and line of what is amiss."""
    return read_file(path, mural_of_table)


def mural_of_table(table: Mapping[str, object], text: str = "") -> Mural:
    """Return the mural of a table; `text` is where lines are looked up."""
    require_format(table, FORMAT, VERSION, "mural")
    refuse_unknown(_ENTRIES, table, ("the mural", 0, text))
    wall, photo, tiles = table.get("wall"), table.get("photo", {}), table.get("tile", [])
    if not isinstance(wall, Mapping):
        raise UnfitDesign("the mural has no wall: columns, rows and tile sizes, under [wall]")
    if not isinstance(photo, Mapping) or not isinstance(tiles, list):
        raise UnfitDesign("the photo's look stands under [photo], a tile's shade under [[tile]]")
    return Mural(
        name=name_in(table, "mural"),
        wall=part_of(Wall, wall, ("the wall", 0, text)),
        photo=part_of(PhotoLayer, photo, ("the photo", 0, text)),
        shades=tuple(
            part_of(
                TileShade, tile, (f"[[tile]] {number}", table_number(text, "tile", number), text)
            )
            for number, tile in enumerate(tiles, 1)
            if isinstance(tile, Mapping)
        ),
        layers=layers_of(table, text),
    )
