"""`etchwarden fleet`: all boxes of a shop, as its broker tells; and what tells the broker."""

import json
import logging
import signal
import threading
from pathlib import Path
from typing import Final

import click

from etchwarden.shared.file_errors import faults_reported
from etchweb.daemon.daemon_socket import SocketDaemon
from etchweb.fleet.box_registry import Box
from etchweb.fleet.box_summary import box_summary, summary
from etchweb.fleet.errors import FleetFault
from etchweb.fleet.reporter import Reporter
from etchweb.fleet.settings import FleetSettings
from etchweb.fleet.watcher import Watcher
from etchwire.configuration.faults import FaultyConfiguration

DEFAULT_FILE: Final = Path("/etc/etchwarden/page.toml")
_SETTINGS: Final = click.option(
    "--settings",
    "path",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    default=DEFAULT_FILE,
    show_default=True,
    help="Where the shop's broker is (TOML, table [fleet]): broker, port, user, password_file,"
    " ca_file, page, and a table [fleet.machines] of this board's daemons: NAME = SOCKET.",
)


@click.group(invoke_without_command=True)
@_SETTINGS
@click.option("--json", "as_json", is_flag=True, help="Print what was told, for a program.")
@click.option("--wait", "wait_s", default=5.0, show_default=True, help="Seconds for the broker.")
@click.pass_context
def command(context: click.Context, path: Path, *, as_json: bool, wait_s: float) -> None:
    """Print what every box of the shop told its broker last.

    Nothing can be started or unlocked this way, from here or from anywhere else.
    """
    if context.invoked_subcommand is not None:
        return
    logging.getLogger("etchweb").addHandler(logging.NullHandler())  # what is wrong is told once
    with faults_reported(path, FleetFault, FaultyConfiguration):
        boxes = _boxes_told_of(FleetSettings.at(path), wait_s)
    if as_json:
        click.echo(json.dumps([box.to_table() for box in boxes], indent=1))
        return
    summaries = [box_summary(box) for box in boxes]
    click.echo(summary(summaries) if summaries else "The broker knows of no box.")
    for one in summaries:
        click.echo(f"\n{'! ' if one.calls else ''}{one.name}")
        for line in one.lines():
            click.echo(f"  {line}")


@command.command(name="report")
@_SETTINGS
def report(path: Path) -> None:
    """Tell the broker of this board's machines, until SIGTERM or Ctrl-C.

    It watches the daemons as a phone does, and listens to nothing at the broker.
    """
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    ending = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: ending.set())
    with faults_reported(path, FleetFault, FaultyConfiguration):
        reporters = _reporters(path)
    for reporter in reporters:
        reporter.start()
    ending.wait()
    for reporter in reporters:
        reporter.close()


def _boxes_told_of(settings: FleetSettings, wait_s: float) -> list[Box]:
    with Watcher(settings) as watcher:
        if not watcher.has_heard(wait_s):
            raise FleetFault(watcher.trouble or "The broker has not answered in time.")
        return watcher.boxes()


def _reporters(path: Path) -> list[Reporter]:
    settings = FleetSettings.at(path)
    if not settings.machines:
        raise FleetFault(f"{path}: [machines] names none, so there is nothing to report.")
    return [
        Reporter(name, SocketDaemon(socket), settings) for name, socket in settings.machines.items()
    ]
