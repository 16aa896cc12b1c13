"""`etchwarden page`: serve the page that phones watch."""

import logging
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import click

from etchwarden.configuring.page_settings import PageSettings
from etchwarden.practice_session.scenario_stage import scenario_runner
from etchwarden.shared.file_errors import ended_by
from etchweb.alerts.alerting import AlertService
from etchweb.alerts.outbox import Outbox
from etchweb.app import create_app
from etchweb.auth.store import Store
from etchweb.daemon.daemon_socket import SocketDaemon
from etchweb.fleet.errors import FleetFault
from etchweb.fleet.joining import join_fleet
from etchweb.practice.panel import machine_at
from etchweb.practice.scenario_views import add_scenarios
from etchweb.server.host_names import addresses, is_loopback, names_of
from etchweb.server.page_database import StoreUnusable
from etchweb.serving import LARGEST_PORT, AddressTaken, listen_at, serve
from etchweb.site import Site
from etchwire.configuration.faults import FaultyConfiguration

_log = logging.getLogger(__name__)


@click.command()
@click.option(
    "--daemon",
    "socket",
    metavar="SOCKET",
    type=click.Path(path_type=Path),
    help="The daemon's socket. The page also starts without it, and waits.",
)
@click.option(
    "--settings",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The page's own TOML file, for every machine of this board, in place of --daemon, --host"
    " and --port.",
)
@click.option(
    "--folder",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Where the page keeps what is its own: pictures of jobs, and which phones are paired.",
)
@click.option(
    "--host",
    metavar="ADDRESS",
    default="127.0.0.1",
    show_default=True,
    help="Address to be reached at; 0.0.0.0 for every one this machine has.",
)
@click.option(
    "--port",
    metavar="PORT",
    type=click.IntRange(0, LARGEST_PORT),
    default=8080,
    show_default=True,
    help="Port to be reached at; 0 for any that is free.",
)
@click.option(
    "--open-to-loopback",
    is_flag=True,
    help="Let everybody on this machine operate without pairing. For practice; refused where "
    "other machines can reach the page.",
)
@click.option(
    "--practice",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the practice machine, which then has a panel on the page.",
)
def command(  # noqa: PLR0913, PLR0917 - one for each option
    socket: Path | None,
    settings: Path | None,
    folder: Path,
    host: str,
    port: int,
    open_to_loopback: bool,
    practice: Path | None,
) -> None:
    """Serve the page that phones watch.

    It decides nothing about the machine: ending it does not disturb an etch. Phones are let in by
    `etchwarden pair`.
    """
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    if (socket is None) is (settings is None):
        raise click.UsageError("Give either --daemon or --settings.")
    if open_to_loopback and (settings is not None or not is_loopback(host)):
        raise click.UsageError(
            f"--open-to-loopback would let in whoever comes through {host}. "
            "Leave it out, or serve the page at 127.0.0.1."
        )
    with ExitStack() as parts:
        with _causes_named():
            folder.mkdir(parents=True, exist_ok=True)
            page_settings = None if settings is None else PageSettings.at(settings)
            if page_settings is not None:
                host, port = page_settings.host, page_settings.port
            listener = parts.enter_context(listen_at(host, port))
            if page_settings is not None:
                site = site_of_board(page_settings, folder)
            else:
                app = create_app(
                    SocketDaemon(socket or Path()),
                    folder,
                    host_names=names_of(host),
                    open_to_loopback=open_to_loopback,
                    machine=None if practice is None else machine_at(practice),
                )
                if practice is not None:
                    add_scenarios(app, scenario_runner())
                site = Site({"": app})
            port = listener.getsockname()[1]
            with suppress(StoreUnusable):  # then a card that can only be read
                Store(folder).note_served(host, port)
            where = " and ".join(addresses(host, port))
        click.echo(f"The page is at {where}")
        serve(site, listener, host=host, folder=folder)


@contextmanager
def _causes_named() -> Iterator[None]:
    """End the command with a sentence that names the cause of what is raised inside."""
    try:
        yield
    except FaultyConfiguration as refused:
        raise ended_by(refused) from refused
    except (AddressTaken, FleetFault) as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"The page cannot start: {_cause(error)}") from error


def _cause(error: OSError) -> str:
    """Return what went wrong as the end of a sentence; our own errors say all of it themselves."""
    if error.strerror is None:
        return str(error)
    return f"{error.filename}: {error.strerror}." if error.filename else f"{error.strerror}."


def site_of_board(settings: PageSettings, folder: Path) -> Site:
    """Return the pages of a board's machines, and have people told what happens there."""
    machines = settings.machines or ("machine",)  # none yet: the page says that none answers
    daemons = {name: SocketDaemon(settings.socket(name)) for name in machines}
    site = Site.of_machines(daemons, folder, host=settings.host)
    alerts = settings.alerts
    if alerts is not None and alerts.channels:
        try:
            outbox = Outbox(folder, alerts.wanted)
        except StoreUnusable as error:  # people can still watch, and stop
            _log.warning("Nobody is told anything: %s", error)
        else:
            _alert(site, AlertService(outbox, alerts.channels))
    if settings.fleet is not None:
        join_fleet(settings.fleet, site.apps, daemons)
    return site


def _alert(site: Site, alerting: AlertService) -> None:
    for name, listener in site.listeners.items():
        alerting.follow(name, listener)
    alerting.start(next(iter(site.listeners.values())))
