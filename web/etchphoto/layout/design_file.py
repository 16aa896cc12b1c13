"""A design as a file of ours."""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

from etchphoto.errors import UnfitDesign
from etchphoto.layout.design import KINDS, Design, Layer, Tile
from etchphoto.layout.tables import (
    line_of,
    name_in,
    part_of,
    read_file,
    refuse_unknown,
    require_format,
    table_number,
)

FORMAT: Final = "etchwarden-design"
VERSION: Final = 1
_ENTRIES: Final = ("format", "version", "name", "tile", "layer")


def read_design(path: Path) -> Design:
    """Read a design from its TOML; raise UnfitDesign, with name and line of what is amiss."""
    return read_file(path, design_of_table)


def design_of_table(table: Mapping[str, object], text: str = "") -> Design:
    """Return the design of a table as TOML has it; `text` is where lines are looked up."""
    require_format(table, FORMAT, VERSION, "design")
    refuse_unknown(_ENTRIES, table, ("the design", 0, text))
    tile = table.get("tile")
    if not isinstance(tile, Mapping):
        raise UnfitDesign("the design has no tile: width_mm and height_mm, under [tile]")
    return Design(
        name=name_in(table, "design"),
        tile=part_of(Tile, tile, ("the tile", 0, text)),
        layers=layers_of(table, text),
    )


def layers_of(table: Mapping[str, object], text: str) -> tuple[Layer, ...]:
    """Return what stands under [[layer]] in a table; `text` is where lines are looked up."""
    layers = table.get("layer", [])
    if not isinstance(layers, list):
        raise UnfitDesign("each layer is a table of its own, under [[layer]]")
    return tuple(_layer(layer, number, text) for number, layer in enumerate(layers, 1))


def _layer(table: object, number: int, text: str) -> Layer:
    if not isinstance(table, Mapping):
        raise UnfitDesign(f"layer {number} is no table")
    kind, at = table.get("kind"), table_number(text, "layer", number)
    if not isinstance(kind, str) or kind not in KINDS:
        raise UnfitDesign(
            f"layer {number} is of kind {kind!r}{line_of(text, at, 'kind')}: choose one of "
            f"{', '.join(KINDS)}"
        )
    entries = {name: value for name, value in table.items() if name != "kind"}
    layer: Layer = part_of(KINDS[kind], entries, (f"layer {number} ({kind})", at, text))
    return layer
