"""`etchwarden answer`: answer the watch round, or the look after the end, that is asked for."""

from pathlib import Path

import click

from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.machine_calls import daemon_at
from etchwire.calls.machine import AnswerRound, Status


@click.command()
@click.option("--show", is_flag=True, help="Only say what is asked for.")
@daemon_option()
def command(socket: Path, *, show: bool) -> None:
    """Say that somebody is within reach, or has looked at the machine after the end.

    Where a button is wired at the machine, a press of it answers too. Exit code 1: nobody is asked
    for.
    """
    with daemon_at(socket) as daemon:
        asked_for = daemon.ask(Status()).interlocks.asked_for
        if asked_for is not None:
            click.echo(asked_for)
        if asked_for is not None and show:
            return
        daemon.ask(AnswerRound())  # refused where nobody is asked for, which says so
    click.echo("Answered.")
