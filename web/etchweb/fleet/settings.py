"""Where the boxes of a shop report to: the table [fleet] of the page's TOML file."""

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Self

from etchweb.fleet.errors import FleetFault
from etchwire.errors import UnreadableToml
from etchwire.toml_text import read_toml

LARGEST_PORT: Final = 65535
# Homie 5, "Topic IDs": small letters, digits and hyphens.
BOX_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,30}")
_KINDS: Final[Mapping[str, type]] = {
    "broker": str,
    "port": int,
    "user": str,
    "password_file": str,
    "ca_file": str,
    "page": str,
    "machines": dict,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetSettings:
    """What the file says; `machines` are this board's, each with its daemon's socket."""

    broker: str
    port: int = 1883
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: str | None = None  # with it, the line to the broker is encrypted
    page: str | None = None  # where people reach this board's page
    machines: Mapping[str, Path] = field(default_factory=dict)

    @classmethod
    def at(cls, path: Path) -> Self:
        """Read the file at `path`, or its table [fleet]; raise FleetFault with what is wrong."""
        values = _read(path)
        inner = values.get("fleet")
        return cls.of(inner if isinstance(inner, dict) else values, path)

    @classmethod
    def of(cls, table: Mapping[str, Any], path: Path) -> Self:
        """Read a table that stands in the file at `path`; raise FleetFault likewise."""
        for key, value in table.items():
            _require_known(path, key, value)
        if "broker" not in table:
            raise FleetFault(f"{path}: “broker” is missing, the address of the shop's broker.")
        port = table.get("port", 1883)
        if not 0 < port <= LARGEST_PORT:
            raise FleetFault(f"{path}: {port} is no port.")
        values = dict(table)
        password_file = values.pop("password_file", None)
        password = None if password_file is None else _password(path.parent / password_file)
        machines = _machines(path, values.pop("machines", {}))
        return cls(**(values | {"password": password, "machines": machines}))


def _read(path: Path) -> dict[str, Any]:
    try:
        return read_toml(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise FleetFault(f"{path} cannot be read: {error.strerror}.") from error
    except (UnreadableToml, UnicodeDecodeError) as error:
        raise FleetFault(f"{path} is no TOML file: {error}.") from error


def _require_known(path: Path, key: str, value: object) -> None:
    if key not in _KINDS:
        near = difflib.get_close_matches(key, _KINDS, n=1)
        meant = f" Is “{near[0]}” meant?" if near else ""
        raise FleetFault(f"{path}: there is no key “{key}”.{meant}")
    if type(value) is not _KINDS[key]:
        words = {str: "a text", int: "a whole number", dict: "a table"}
        raise FleetFault(f"{path}: “{key}” has to be {words[_KINDS[key]]}.")


def _machines(path: Path, table: Mapping[str, Any]) -> dict[str, Path]:
    for name, socket in table.items():
        if not BOX_NAME.fullmatch(name) or not isinstance(socket, str):
            raise FleetFault(
                f"{path}: “{name}” has to be small letters, digits and “-”, and its value the"
                " socket of its daemon."
            )
    return {name: Path(socket) for name, socket in table.items()}


def _password(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise FleetFault(f"The password file {path} cannot be read: {error}.") from error
