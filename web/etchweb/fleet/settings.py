"""Where the boxes of a shop report to: the table [fleet] of the page's TOML file."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Final, Self

from etchwire.configuration.faults import Reason
from etchwire.configuration.source import Source
from etchwire.configuration.tables import Table

# Homie 5, "Topic IDs": small letters, digits and hyphens.
MACHINE_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,30}")


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
        """Read the file at `path`, or its table [fleet]; raise FaultyConfiguration."""
        return Source.at(path).read_by(partial(cls._read_file, folder=path.parent))

    @classmethod
    def _read_file(cls, root: Table, folder: Path) -> Self:
        return cls.read(root.table("fleet") if "fleet" in root else root, folder)

    @classmethod
    def read(cls, table: Table, folder: Path) -> Self:
        """Read the table of a file in `folder`; what is wrong with it becomes its faults."""
        table.require("broker")
        settings = cls(
            broker=table.text("broker"),
            port=table.port("port", 1883),
            user=table.text("user") or None,
            password=table.secret("password_file", folder, may_all_read=True),
            ca_file=table.text("ca_file") or None,
            page=table.text("page") or None,
            machines=_machines(table.table("machines")),
        )
        table.done()
        return settings


def _machines(table: Table) -> dict[str, Path]:
    for name in table.values:
        if not MACHINE_NAME.fullmatch(name):
            said = f"“{name}” has to be small letters, digits and “-”."
            table.fault(Reason.OUT_OF_RANGE, name, said)
    return {name: Path(table.text(name)) for name in table.values}
