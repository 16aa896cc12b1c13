"""`etchwarden wiring`: show every contact of the box, and try its outputs one at a time."""

from pathlib import Path

import click

from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.machine_calls import daemon_at
from etchwire.calls.interlock_report import InputView
from etchwire.calls.machine import Status, TryOutput, Wiring


@click.command(name="wiring")
@daemon_option()
@click.option("--try", "output", metavar="OUTPUT", help="Try extraction, lamp, buzzer, heartbeat.")
@click.option("--off", is_flag=True, help="With --try: leave off.")
def command(socket: Path, output: str | None, off: bool) -> None:
    """Show what each contact reads and since when, and what each output was told.

    Then the day on which each safety contact was last seen to open, and the safety relay to fall.
    An output is tried for a few seconds, while nothing is armed or etched; never the beam's.
    """
    with daemon_at(socket) as daemon:
        if output is not None:
            daemon.ask(TryOutput(name=output, on=not off))
        wiring, box = daemon.ask(Wiring()), daemon.ask(Status()).interlocks
    for one in wiring.inputs:
        click.echo(f"{one.label + ':':26} {_contact(one)}")
    click.echo()
    for driven in wiring.outputs:
        state = "on" if driven.is_on else "off" if driven.is_wired else "–"
        click.echo(f"{driven.label + ':':13} {state:4} {driven.name}")
        if driven.name == output:
            click.echo(f"  {driven.words}")
    click.echo()
    for proof in box.seen_to_open:
        click.echo(proof.sentence)


def _contact(one: InputView) -> str:
    if one.is_closed is None:
        return one.words
    contact = "closed" if one.is_closed else "open"
    wrong = " Not as it should be." if one.is_safe is False else ""
    return f"{one.words} Contact {contact} for {one.for_s:.0f} s.{wrong}"
