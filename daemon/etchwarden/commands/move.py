"""`etchwarden move`: move the head with the beam off, home it, set the origin."""

from collections.abc import Mapping
from pathlib import Path
from typing import Final

import click

from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.machine_calls import await_rest, daemon_at
from etchwire.calls.call import Call, Done
from etchwire.calls.machine import (
    FindOrigin,
    Home,
    MoveBy,
    MoveTo,
    SetOrigin,
    Status,
    Stop,
    Unlock,
)

ONE_THING: Final = "Say X and Y, or one of --home, --unlock, --set-origin, --find-origin, --stop."

CALLS: Final[Mapping[str, Call[Done]]] = {
    call.method(): call for call in (Home(), Unlock(), SetOrigin(), FindOrigin(), Stop())
}
DONE: Final = {
    SetOrigin(): "The origin is where the head is.",
    Unlock(): "The controller is unlocked. Set the origin before anything else.",
}


@click.command(name="move", context_settings={"ignore_unknown_options": True})
@click.argument("place", metavar="[X Y]", type=float, nargs=-1)
@daemon_option()
@click.option("--by", "is_by", is_flag=True, help="Count from where the head is.")
@click.option("--home", "deed", flag_value="home", help="Find the ends of the travel.")
@click.option("--unlock", "deed", flag_value="unlock", help="Unlock the controller.")
@click.option("--set-origin", "deed", flag_value="set_origin", help="Count from here on.")
@click.option(
    "--find-origin", "deed", flag_value="find_origin",
    help="Put the origin where it was before; only after homing.",
)  # fmt: skip
@click.option("--stop", "deed", flag_value="stop", help="Stop the head, or the etch.")
def command(place: tuple[float, ...], socket: Path, is_by: bool, deed: str | None) -> None:
    """Move the head to X and Y, in mm counted from the origin; the beam stays off.

    Ctrl-C stops it on its way.
    """
    if len(place) != (0 if deed else 2) or (deed and is_by):
        raise click.UsageError(ONE_THING)
    with daemon_at(socket) as daemon:
        if deed:
            call = CALLS[deed]
            is_find = call == FindOrigin()
            again = daemon.ask(Status()).machine.origin.again if is_find else None
            daemon.ask(call)
            if again is not None:
                click.echo(f"In force again: {again.name}.")
                return
            if call in DONE:
                click.echo(DONE[call])
                return
        else:
            move = MoveBy if is_by else MoveTo
            daemon.ask(move(x_mm=place[0], y_mm=place[1]))
        await_rest(daemon)
