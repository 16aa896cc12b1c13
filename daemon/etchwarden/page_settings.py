"""The page's own TOML file: where it is reached, and whose machines it shows."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Self

from etchdaemon.configuration.faults import Fault, FaultyConfiguration, Reason
from etchdaemon.configuration.loading import read_toml
from etchdaemon.configuration.tables import Table
from etchweb.fleet.settings import FleetSettings

LARGEST_PORT: Final = 65535
MACHINE_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,30}")
_SOCKETS: Final = "/run/etchwarden"


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSettings:
    """What the file says; `alerts` is a table that the alerts read themselves."""

    host: str = "0.0.0.0"  # noqa: S104 - a box is there to be reached
    port: int = 8080
    machines: tuple[str, ...] = ()
    sockets: Path = Path(_SOCKETS)
    alerts: Mapping[str, Any] = field(default_factory=dict)
    fleet: FleetSettings | None = None

    @classmethod
    def at(cls, path: Path) -> Self:
        """Read the file at `path`; raise FaultyConfiguration naming everything that is wrong."""
        faults: list[Fault] = []
        values = read_toml(path)
        table = Table(values, "", faults)
        settings = cls(
            host=table.text("host", "0.0.0.0"),  # noqa: S104
            port=_port(table),
            machines=_machines(table, values, path.parent),
            sockets=Path(table.text("sockets", _SOCKETS)),
            alerts=_alerts(table, values),
            fleet=_fleet(table, values, path),
        )
        table.done()
        if faults:
            raise FaultyConfiguration(faults)
        return settings

    def socket(self, machine: str) -> Path:
        """Return where the daemon of `machine` listens."""
        return self.sockets / machine / "api.sock"


def machines_beside(folder: Path) -> tuple[str, ...]:
    """Return the machines that have a file in `folder`, sorted."""
    names = (path.stem for path in folder.glob("*.toml") if path.name != "page.toml")
    return tuple(sorted(name for name in names if MACHINE_NAME.fullmatch(name)))


def _port(table: Table) -> int:
    port = table.whole_number("port", most=LARGEST_PORT)
    return 8080 if port is None else port


def _machines(table: Table, values: Mapping[str, Any], folder: Path) -> tuple[str, ...]:
    if "machines" not in table:
        table.known("machines")
        return machines_beside(folder)
    table.known("machines")
    names = values["machines"]
    is_fit = isinstance(names, list) and all(
        isinstance(name, str) and MACHINE_NAME.fullmatch(name) for name in names
    )
    if not is_fit or len(set(names)) != len(names):
        said = "“machines” has to be a list of names, each once, of small letters, digits and “-”."
        table.fault(Reason.WRONG_KIND, "machines", said)
        return ()
    return tuple(names)


def _fleet(table: Table, values: Mapping[str, Any], path: Path) -> FleetSettings | None:
    table.table("fleet")  # names a fault where it is none
    fleet = values.get("fleet")
    return FleetSettings.of(fleet, path) if isinstance(fleet, Mapping) else None


def _alerts(table: Table, values: Mapping[str, Any]) -> Mapping[str, Any]:
    table.table("alerts")  # names a fault where it is none
    alerts = values.get("alerts", {})
    return alerts if isinstance(alerts, Mapping) else {}
