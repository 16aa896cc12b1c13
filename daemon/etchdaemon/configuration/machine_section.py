"""The sections that say which machine a file is about: its port, and the laser on it."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Final

from etchwire.catalogue.heads import Head, Register
from etchwire.configuration.faults import Reason
from etchwire.configuration.tables import Table
from etchwire.errors import UnreadableSheet

_PORTS: Final = "/dev/"


def read_port(root: Table) -> str:
    """Return the port's path; empty where none is named."""
    machine = root.table("machine")
    port = machine.text("port")
    if port and not port.startswith(_PORTS):
        said = f"a port is a path such as /dev/serial/by-id/…, not “{port}”."
        machine.fault(Reason.OUT_OF_RANGE, "port", said)
    machine.done()
    return port


def read_head(root: Table) -> Head | None:
    """Return the laser; None where none is described."""
    if "head" not in root:
        root.accept("head")
        return None
    table = root.table("head")
    register = table.table("register")
    for part, kind in ((table, Head), (register, Register)):
        for entry in fields(kind):
            part.accept(entry.name)
        part.done()
    try:
        return Head.from_table(_whole(table.values | {"register": register.values}))
    except UnreadableSheet as error:
        table.fault(Reason.OUT_OF_RANGE, "", f"{error}.")
        return None


def _whole(table: Mapping[str, object]) -> dict[str, object]:
    """Return the table with its whole numbers as the figures they stand for: 300 is 300.0."""
    return {
        name: float(value) if isinstance(value, int) and not isinstance(value, bool) else value
        for name, value in table.items()
    }
