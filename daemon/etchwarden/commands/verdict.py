"""`etchwarden verdict`: what the wiped tile of a run looked like."""

from pathlib import Path

import click

from etchwarden.shared.catalogue_calls import catalogue_calls_at
from etchwarden.shared.daemon_option import daemon_option
from etchweb.logbook.verdict_presenter import CAUSES
from etchwire.calls.catalogue import SaveVerdict
from etchwire.catalogue.records import VERDICTS


@click.command()
@click.argument("run", type=int)
@click.argument("verdict", metavar="WORD", type=click.Choice(VERDICTS))
@click.option("--pocket", type=int, help="The tile in this pocket, of a run of several.")
@click.option("--cause", default="", help=f"Why, if it is known: {', '.join(CAUSES)}.")
@click.option("--note", default="", help="What else is worth knowing.")
@daemon_option()
def command(
    run: int, verdict: str, pocket: int | None, cause: str, note: str, socket: Path
) -> None:
    """Say what the tile of RUN looked like, cooled and wiped: good, or what is wrong with it.

    WORD is good, pale, patchy, banded, doubled, shifted, “rubbed off”, “glaze damaged”, broken,
    “cracked or chipped”, “fault in the coat” or “our mistake”. Two pale ones in a row, for
    one, ask for a test card; a broken or cracked tile and a mistake do not.
    """
    with catalogue_calls_at(socket) as catalogue:
        catalogue.daemon.ask(
            SaveVerdict(
                run=run, verdict=verdict, cause=cause, note=note, pocket=pocket, who=catalogue.who
            )
        )
    tile = "" if pocket is None else f", pocket {pocket}"
    click.echo(f"Run {run}{tile}: {verdict}.")
