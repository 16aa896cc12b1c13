"""The page's own TOML file: where it is reached, and whose machines it shows."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

from etchdaemon.configuration.faults import Fault, FaultyConfiguration, Reason
from etchdaemon.configuration.source import Source
from etchdaemon.configuration.tables import Table
from etchweb.alerts.settings import AlertSettings, FaultyAlerts, alert_settings
from etchweb.fleet.errors import FleetFault
from etchweb.fleet.settings import FleetSettings

LARGEST_PORT: Final = 65535
MACHINE_NAME: Final = re.compile(r"[a-z0-9][a-z0-9-]{0,30}")
_NAMED: Final = re.compile(r"“(\w+)”")  # the key that a sentence is about
_SOCKETS: Final = "/run/etchwarden"


@dataclass(frozen=True, slots=True, kw_only=True)
class PageSettings:
    """What the file says; no `alerts`, no `fleet`: there is no such table in it."""

    host: str = "0.0.0.0"  # noqa: S104 - a box is there to be reached
    port: int = 8080
    machines: tuple[str, ...] = ()
    sockets: Path = Path(_SOCKETS)
    alerts: AlertSettings | None = None
    fleet: FleetSettings | None = None

    @classmethod
    def at(cls, path: Path) -> Self:
        """Read the file at `path`; raise FaultyConfiguration naming everything that is wrong."""
        source = Source.at(path)
        with source.located():
            return cls._of(source.values, path)

    @classmethod
    def _of(cls, values: Mapping[str, object], path: Path) -> Self:
        faults: list[Fault] = []
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


def _machines(table: Table, values: Mapping[str, object], folder: Path) -> tuple[str, ...]:
    if "machines" not in table:
        table.accept("machines")
        return machines_beside(folder)
    table.accept("machines")
    names = values["machines"]
    listed = names if isinstance(names, list) else [None]
    is_fit = all(isinstance(name, str) and MACHINE_NAME.fullmatch(name) for name in listed)
    if not is_fit or len(set(listed)) != len(listed):
        said = "“machines” has to be a list of names, each once, of small letters, digits and “-”."
        table.fault(Reason.WRONG_KIND, "machines", said)
        return ()
    return tuple(listed)


def _fleet(table: Table, values: Mapping[str, object], path: Path) -> FleetSettings | None:
    table.table("fleet")  # names a fault where it is none
    fleet = values.get("fleet")
    if not isinstance(fleet, Mapping):
        return None
    try:
        return FleetSettings.of(fleet, path)
    except FleetFault as fault:
        said = str(fault).removeprefix(f"{path}: ")
        named = _NAMED.search(said)
        where = f"fleet.{named[1]}" if named else "fleet"
        table.fault(Reason.WRONG_KIND, where, said)
        return None


def _alerts(table: Table, values: Mapping[str, object]) -> AlertSettings | None:
    table.table("alerts")  # names a fault where it is none
    alerts = values.get("alerts")
    if not isinstance(alerts, Mapping):
        return None
    try:
        return alert_settings(alerts)
    except FaultyAlerts as faulty:
        for said in str(faulty).splitlines():
            where, _, sentence = said.partition(": ")
            table.fault(Reason.WRONG_KIND, where, sentence)
        return None
