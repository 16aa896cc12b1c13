"""Files of ours, as TOML by hand or as JSON: read strictly, each fault with its line."""

import re
from collections.abc import Callable, Mapping
from dataclasses import MISSING, fields
from pathlib import Path
from typing import Any, Final, TypeAlias, TypeVar

from etchphoto.errors import NotADesign, UnfitDesign
from etchphoto.layout.design import Box
from etchwire.calls.json_values import from_json_value
from etchwire.errors import MalformedMessage, UnreadableToml
from etchwire.toml_text import read_toml

LARGEST_BYTES: Final = 100_000

_HEADER: Final = re.compile(r"\s*\[\[\s*[\"']?([\w-]*)")
Part = TypeVar("Part")
Where: TypeAlias = tuple[str, int, str]  # whose entries, in which [[table]] (0: none), which text


def read_file(path: Path, read: Callable[[Mapping[str, Any], str], Part]) -> Part:
    """Return what `read` makes of the tables and the text of a TOML file; raise UnfitDesign."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise UnfitDesign(f"{path} cannot be read ({error.strerror})") from error
    if len(data) > LARGEST_BYTES:
        raise UnfitDesign(f"{path.name} is too large for such a file")
    try:
        return read_text(data.decode("utf-8"), read)
    except UnicodeDecodeError as error:
        raise UnfitDesign(f"{path.name} is not written in UTF-8: save it so") from error
    except UnfitDesign as error:
        raise type(error)(f"{path.name}: {error}") from error


def read_text(text: str, read: Callable[[Mapping[str, Any], str], Part]) -> Part:
    """Return what `read` makes of the tables of a TOML text, and of the text."""
    try:
        return read(read_toml(text), text)
    except UnreadableToml as error:
        raise UnfitDesign(str(error)) from error


def require_format(table: Mapping[str, Any], form: str, version: int, what: str) -> None:
    """Raise NotADesign for a table of another format, UnfitDesign for one of another version."""
    if table.get("format") != form:
        raise NotADesign(f'it is no {what} of ours: its first line is format = "{form}"')
    if table.get("version") != version:
        raise UnfitDesign(
            f"it is a {what} of version {table.get('version')!r}; this program reads {version}"
        )


def name_in(table: Mapping[str, Any], what: str) -> str:
    """Return the name in a table; raise UnfitDesign where it has none."""
    name = table.get("name")
    if not isinstance(name, str) or not name.strip():
        raise UnfitDesign(f'the {what} has no name: name = "House number", for example')
    return name


def part_of(kind: type[Part], table: Mapping[str, Any], where: Where) -> Part:
    """Return `table` as a `kind`; raise UnfitDesign, with name and line of what is amiss."""
    owner, number, text = where
    entries = {entry.name: entry for entry in fields(kind)}  # type: ignore[arg-type]
    refuse_unknown(tuple(entries), table, where)
    if isinstance(table.get("box"), Mapping):
        box = (f"the box of {owner}", number, text)
        refuse_unknown(tuple(entry.name for entry in fields(Box)), table["box"], box)
    missing = [
        name for name, one in entries.items() if one.default is MISSING and name not in table
    ]
    if missing:
        raise UnfitDesign(f"{owner} lacks the entry {missing[0]!r}")
    try:
        return from_json_value(table, kind)
    except MalformedMessage as error:
        what, _, at = str(error).partition(" - at `$.")
        name = at.rstrip("`")
        entry = f"{owner}, {name}{line_of(text, number, name.partition('.')[0])}" if name else owner
        raise UnfitDesign(f"{entry}: {what[:1].lower()}{what[1:]}") from error


def refuse_unknown(known: tuple[str, ...], table: Mapping[str, Any], where: Where) -> None:
    """Raise UnfitDesign for an entry that is not `known`."""
    owner, number, text = where
    for name in table:
        if name not in known:
            raise UnfitDesign(
                f"{owner} cannot have the entry {name!r}{line_of(text, number, name)}: it may have "
                f"{', '.join(known)}"
            )


def table_number(text: str, name: str, number: int) -> int:
    """Return which of all [[tables]] of `text` is the one of that number called `name`."""
    headers = [found[1] for line in text.splitlines() if (found := _HEADER.match(line))]
    called = [at for at, one in enumerate(headers, 1) if one == name]
    return called[number - 1] if number <= len(called) else 0


def line_of(text: str, number: int, name: str) -> str:
    """Return in words on which line of `text` the entry stands, in the [[table]] of that number."""
    begins = re.compile(rf"(?<![\w-])[\"']?{re.escape(name)}[\"']?\s*=")
    table = 0
    for line_number, line in enumerate(text.splitlines(), 1):
        if _HEADER.match(line):
            table += 1
        elif table == number and begins.search(line):
            return f" on line {line_number}"
    return ""
