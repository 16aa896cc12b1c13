"""The page's own TOML file: where it is reached, and whose machines it shows."""

from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final, Self

from etchweb.alerts.settings import AlertSettings
from etchweb.fleet.settings import MACHINE_NAME, FleetSettings
from etchwire.configuration.faults import Reason
from etchwire.configuration.source import Source
from etchwire.configuration.tables import Table

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
        return Source.at(path).read_by(partial(cls._read, folder=path.parent))

    @classmethod
    def _read(cls, table: Table, folder: Path) -> Self:
        parts = table.tables(("alerts", "fleet"))
        settings = cls(
            host=table.text("host", "0.0.0.0"),  # noqa: S104
            port=table.port("port", 8080, least=0),
            machines=_machines(table, folder),
            sockets=Path(table.text("sockets", _SOCKETS)),
            alerts=AlertSettings.read(parts["alerts"], folder) if "alerts" in parts else None,
            fleet=FleetSettings.read(parts["fleet"], folder) if "fleet" in parts else None,
        )
        table.done()
        return settings

    def socket(self, machine: str) -> Path:
        """Return where the daemon of `machine` listens."""
        return self.sockets / machine / "api.sock"


def machines_beside(folder: Path) -> tuple[str, ...]:
    """Return the machines that have a file in `folder`, sorted."""
    names = (path.stem for path in folder.glob("*.toml") if path.name != "page.toml")
    return tuple(sorted(name for name in names if MACHINE_NAME.fullmatch(name)))


def _machines(table: Table, folder: Path) -> tuple[str, ...]:
    names = table.texts("machines")
    if "machines" not in table:
        return machines_beside(folder)
    if not all(map(MACHINE_NAME.fullmatch, names)) or len(set(names)) != len(names):
        said = "“machines” has to be a list of names, each once, of small letters, digits and “-”."
        table.fault(Reason.OUT_OF_RANGE, "machines", said)
    return names
