"""`etchwarden trace`: take the head once round what will be etched, with the beam off."""

from pathlib import Path

import click

from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.machine_calls import await_rest, daemon_at
from etchwire.calls.machine import TraceOutline


@click.command(name="trace")
@daemon_option()
@click.option("--run-ups", is_flag=True, help="Round everywhere the head will go, instead.")
def command(socket: Path, run_ups: bool) -> None:
    """Take the head, beam off, once round the picture on the bench; Ctrl-C stops it."""
    with daemon_at(socket) as daemon:
        daemon.ask(TraceOutline(with_run_ups=run_ups))
        await_rest(daemon)
