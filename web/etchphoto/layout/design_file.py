"""A design as a file of ours: TOML by hand, the same tables as JSON; read strictly."""

import re
from collections.abc import Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any, Final, TypeAlias, TypeVar

import msgspec

from etchphoto.errors import NotADesign, UnfitDesign
from etchphoto.layout.design import KINDS, Box, Design, Layer, Tile, kind_of
from etchwire.errors import UnreadableToml
from etchwire.toml_text import read_toml

FORMAT: Final = "etchwarden-design"
VERSION: Final = 1
LARGEST_BYTES: Final = 100_000

_HEADER: Final = re.compile(r"\s*\[\[\s*layer\s*\]\]")
_ENTRIES: Final = ("format", "version", "name", "tile", "layer")
_Part = TypeVar("_Part")
_Where: TypeAlias = tuple[str, int, str]  # whose entries, in which layer (0: none), of which text


def read_design(path: Path) -> Design:
    """Read a design from its TOML; raise UnfitDesign, with name and line of what is amiss."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnfitDesign(f"{path} cannot be read ({error.strerror})") from error
    if len(data) > LARGEST_BYTES:
        raise UnfitDesign(f"{path.name} is too large for a design")
    try:
        return design_of_toml(data.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise UnfitDesign(f"{path.name} is not written in UTF-8: save it so") from error
    except UnfitDesign as error:
        raise type(error)(f"{path.name}: {error}") from error


def design_of_toml(text: str) -> Design:
    """Return the design that `text` describes."""
    try:
        table = read_toml(text)
    except UnreadableToml as error:
        raise UnfitDesign(str(error)) from error
    return design_of_table(table, text)


def design_of_table(table: Mapping[str, Any], text: str = "") -> Design:
    """Return the design of a table as `table_of` gives it; `text` is where lines are looked up."""
    if table.get("format") != FORMAT:
        raise NotADesign(f'it is no design of ours: its first line is format = "{FORMAT}"')
    if table.get("version") != VERSION:
        raise UnfitDesign(
            f"it is a design of version {table.get('version')!r}; this program reads {VERSION}"
        )
    _refuse_unknown(_ENTRIES, table, ("the design", 0, text))
    name, tile, layers = table.get("name"), table.get("tile"), table.get("layer", [])
    if not isinstance(name, str) or not name.strip():
        raise UnfitDesign('the design has no name: name = "House number", for example')
    if not isinstance(tile, Mapping):
        raise UnfitDesign("the design has no tile: width_mm and height_mm, under [tile]")
    if not isinstance(layers, list):
        raise UnfitDesign("each layer is a table of its own, under [[layer]]")
    return Design(
        name=name,
        tile=_part(Tile, tile, ("the tile", 0, text)),
        layers=tuple(_layer(layer, number, text) for number, layer in enumerate(layers, 1)),
    )


def table_of(design: Design) -> dict[str, Any]:
    """Return the design as plain values; what is as usual is left out."""
    layers = [{"kind": kind_of(layer), **_unusual(layer)} for layer in design.layers]
    head = {"format": FORMAT, "version": VERSION, "name": design.name}
    return {**head, "tile": _unusual(design.tile), "layer": layers}


def _unusual(thing: Any) -> dict[str, Any]:
    return {
        entry.name: msgspec.to_builtins(getattr(thing, entry.name))
        for entry in fields(thing)
        if getattr(thing, entry.name) != entry.default
    }


def _layer(table: object, number: int, text: str) -> Layer:
    if not isinstance(table, Mapping):
        raise UnfitDesign(f"layer {number} is no table")
    kind = table.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise UnfitDesign(
            f"layer {number} is of kind {kind!r}{_place(text, number, 'kind')}: choose one of "
            f"{', '.join(KINDS)}"
        )
    entries = {name: value for name, value in table.items() if name != "kind"}
    layer: Layer = _part(KINDS[kind], entries, (f"layer {number} ({kind})", number, text))
    return layer


def _part(kind: type[_Part], table: Mapping[str, Any], where: _Where) -> _Part:
    owner, number, text = where
    entries = {entry.name: entry for entry in fields(kind)}  # type: ignore[arg-type]
    _refuse_unknown(tuple(entries), table, where)
    if isinstance(table.get("box"), Mapping):
        box = (f"the box of {owner}", number, text)
        _refuse_unknown(tuple(entry.name for entry in fields(Box)), table["box"], box)
    missing = [
        name for name, one in entries.items() if one.default is MISSING and name not in table
    ]
    if missing:
        raise UnfitDesign(f"{owner} lacks the entry {missing[0]!r}")
    try:
        return msgspec.convert(table, kind)
    except msgspec.ValidationError as error:
        what, _, at = str(error).partition(" - at `$.")
        name = at.rstrip("`")
        entry = f"{owner}, {name}{_place(text, number, name.partition('.')[0])}" if name else owner
        raise UnfitDesign(f"{entry}: {what[:1].lower()}{what[1:]}") from error


def _refuse_unknown(known: tuple[str, ...], table: Mapping[str, Any], where: _Where) -> None:
    owner, number, text = where
    for name in table:
        if name not in known:
            raise UnfitDesign(
                f"{owner} cannot have the entry {name!r}{_place(text, number, name)}: it may have "
                f"{', '.join(known)}"
            )


def _place(text: str, number: int, name: str) -> str:
    """Return in words on which line of `text` the entry stands, in the layer of that number."""
    begins = re.compile(rf"(?<![\w-])[\"']?{re.escape(name)}[\"']?\s*=")
    layer = 0
    for line_number, line in enumerate(text.splitlines(), 1):
        if _HEADER.match(line):
            layer += 1
        elif layer == number and begins.search(line):
            return f" on line {line_number}"
    return ""
