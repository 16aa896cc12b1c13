"""`etchwarden again`: take up an etch that was cut short, from a terminal."""

from pathlib import Path
from typing import Final

import click

from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.job_summary import duration
from etchwarden.shared.machine_calls import daemon_at
from etchwire.calls.client import DaemonClient
from etchwire.calls.machine import (
    NOT_MOVED,
    ORIGIN_AGAIN,
    Reenter,
    Status,
    Unfinished,
    UnfinishedRun,
)

NOTHING: Final = "No etch was cut short that could be taken up again."
NO_TILE_FOLLOWS: Final = "No tile follows that one, so that nothing would be left to etch."
IN_DOUBT: Final = (
    "In doubt take the row above: burnt twice, a row gets twice the light; left out, it stays"
    " white."
)


@click.command()
@click.argument("run", type=click.IntRange(min=1), required=False)
@click.option(
    "--row", metavar="ROW", type=click.IntRange(min=1),
    help="The first row that is not dark, told by eye, counted from 1 at the top.",
)  # fmt: skip
@click.option(
    "--not-moved", "confirm", flag_value=NOT_MOVED, help="Tile and head have not moved since."
)
@click.option(
    "--origin-set", "confirm", flag_value=ORIGIN_AGAIN,
    help="The machine is homed, or its origin set again, where it was.",
)  # fmt: skip
@click.option(
    "--leave-out", "is_left_out", is_flag=True,
    help="Of a bench: leave out the tile that was cut, or that of ROW; go on with the next.",
)  # fmt: skip
@click.option(
    "--accept-gap", "has_accepted", is_flag=True,
    help="Of another program's file: what stays unburnt before the rest is known and accepted.",
)  # fmt: skip
@daemon_option()
def command(
    *,
    run: int | None,
    row: int | None,
    confirm: str | None,
    is_left_out: bool,
    has_accepted: bool,
    socket: Path,
) -> None:
    """Load what is left of etch RUN, or of the one that was cut short last.

    It says what is known of the cut and what is not, and asks for what is not said here. Nothing
    is etched by that: `etchwarden etch` follows.
    """
    with daemon_at(socket) as daemon:
        number = _newest(daemon) if run is None else run
        found = daemon.ask(Unfinished(run=number))
        if not found.may:
            raise click.ClickException(found.why_not or NOTHING)
        _tell(found)
        if row is None and not found.is_row_known and not is_left_out:
            row = _row_asked(found)
        first_row = None if row is None else row - 1
        if is_left_out:
            first_row = _row_of_next_tile(daemon.ask(Unfinished(run=number, row=first_row)))
        _print_rest(daemon.ask(Unfinished(run=number, row=first_row)))
        confirmed = confirm or _confirmation(found)
        if found.gap_mm and not has_accepted:
            click.confirm(f"Go on, and leave up to {found.gap_mm:.1f} mm unburnt?", abort=True)
        loaded = daemon.ask(
            Reenter(run=number, confirm=confirmed, row=first_row, accept_gap=bool(found.gap_mm))
        )
        click.echo(f"{loaded.sentence}\nIt is loaded. Start it with: etchwarden etch")
        if question := daemon.ask(Status()).machine.origin.sentence:
            click.echo(f"Before that: {question}")


def _newest(daemon: DaemonClient) -> int:
    left = daemon.ask(Status()).unfinished
    if left is None:
        raise click.ClickException(NOTHING)
    return left.run


def _tell(found: UnfinishedRun) -> None:
    click.echo(f"Etch {found.run}, {found.title}: {found.because or found.ended}")
    for heading, sentences in (("Known", found.known), ("Not known", found.unknown)):
        click.echo(f"{heading}:")
        for sentence in sentences:
            click.echo(f"  {sentence}")
    if found.next_tile is not None:
        click.echo(f"The tile in pocket {found.next_tile.left_out} can be left out: --leave-out")


def _row_of_next_tile(found: UnfinishedRun) -> int:
    following = found.next_tile
    if following is None:
        raise click.ClickException(NO_TILE_FOLLOWS)
    click.echo(
        f"Pocket {following.left_out} is left out; pocket {following.pocket} comes next: "
        f"{following.title}."
    )
    return following.row


def _row_asked(found: UnfinishedRun) -> int:
    click.echo(IN_DOUBT)
    if found.either:
        places = [str(place.row + 1) for place in found.either]
        return int(click.prompt("The first row that is not dark", type=click.Choice(places)))
    rows = found.rows or 1
    row: int = click.prompt(
        "The first row that is not dark from edge to edge",
        type=click.IntRange(1, rows),
        default=min((found.first_row or 0) + 1, rows),
    )
    return row


def _print_rest(found: UnfinishedRun) -> None:
    rest = found.rest
    if rest is None:
        raise click.ClickException("From that row on nothing is left to etch.")
    if found.gap_mm is not None:
        click.echo(f"Left: about {duration(rest.predicted_s)}.")
        return
    click.echo(
        f"Left: {rest.rows} rows, {rest.width_mm:g} × {rest.height_mm:.1f} mm, about"
        f" {duration(rest.predicted_s)}, from row {rest.first_row + 1} on."
    )


def _confirmation(found: UnfinishedRun) -> str:
    if found.is_place_kept and click.confirm("Have tile and head stayed where they were?"):
        return NOT_MOVED
    click.confirm("Is the machine homed, or its origin set again, where it was?", abort=True)
    return ORIGIN_AGAIN
