"""`etchwarden settings`: the controller's settings that matter, what they mean, how fast it is."""

from pathlib import Path

import click

from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.machine_calls import await_rest, daemon_at
from etchwire.calls.machine import Measure, Settings


@click.command(name="settings")
@daemon_option()
@click.option(
    "--measure", is_flag=True,
    help="First measure how fast the controller takes in lines: half a minute of moves, beam off.",
)  # fmt: skip
def command(socket: Path, measure: bool) -> None:
    """Show the controller's settings that matter, as it answered; nothing writes them.

    Exit code 1 when one of them forbids an etch, or could not be read.
    """
    with daemon_at(socket) as daemon:
        if measure:
            daemon.ask(Measure())
            await_rest(daemon)
        answer = daemon.ask(Settings())
    for one in answer.settings:
        numbers = " and ".join(map(str, one.numbers))
        values = " × ".join("–" if value is None else value for value in one.values)
        mark = "" if one.is_good else "  look at this"
        click.echo(f"{one.name} (setting {numbers}): {values} {one.unit}".rstrip() + mark)
        click.echo(f"  {one.sentence}")
    if answer.controller.sentence:
        click.echo(f"speed of the controller\n  {answer.controller.sentence}")
    for sentence in (*answer.refusals, *answer.warnings):
        click.echo(sentence)
    if not answer.is_read:
        click.echo("The controller could not be asked for its settings.")
    raise SystemExit(1 if answer.refusals or not answer.is_read else 0)
