"""`etchwarden surface`: the tiles and paints that the logbook knows."""

from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import click

from etchwarden.shared.catalogue_calls import catalogue_calls_at
from etchwarden.shared.daemon_option import daemon_option
from etchwire.calls.catalogue import SaveSurface, Surfaces
from etchwire.catalogue.records import COATINGS, WIPINGS, Surface

_SHOWN: Final = (
    "tile", "batch", "paint", "can", "coating", "coated_on", "notes", "coats", "solvent", "cloth",
    "wait_min", "wiping",
)  # fmt: skip
_WORDS: Final = {"wait_min": "minutes before wiping", "wiping": "wiped"}


@click.group()
def command() -> None:
    """Tiles and paints: list them, describe one."""


@command.command(name="list")
@daemon_option()
def list_them(socket: Path) -> None:
    """Every surface as it is now."""
    with catalogue_calls_at(socket) as catalogue:
        surfaces = catalogue.daemon.ask(Surfaces()).surfaces
    for one in surfaces:
        described = {
            _WORDS.get(name, name.replace("_", " ")): getattr(one.surface, name) for name in _SHOWN
        }
        said = [
            f"{name} {value:g}" if isinstance(value, float) else f"{name} {value}"
            for name, value in described.items()
            if value
        ]
        practice = " (practice)" if one.is_practice else ""
        click.echo(f"{one.name}{practice}: {', '.join(said) or 'nothing is told of it'}")


@command.command(name="set")
@click.argument("name")
@click.option("--tile", help="Make and size, in your words.")
@click.option("--batch", help="The box the tiles are from.")
@click.option("--paint", help="Its name.")
@click.option("--can", help="Which can of it.")
@click.option(
    "--coating", type=click.Choice([way for way in COATINGS if way]), help="How it was put on."
)
@click.option("--coats", type=int, help="How many coats.")
@click.option("--coated-on", metavar="DATE", help="The day, as 2026-11-25.")
@click.option("--notes", help="What else is worth knowing.")
@click.option("--solvent", help="What it is wiped with, as water or thinner.")
@click.option("--cloth", help="And with which cloth or pad.")
@click.option(
    "--wait", "wait_min", type=float, metavar="MINUTES", help="From the end of the etch to wiping."
)
@click.option(
    "--wiping", type=click.Choice([way for way in WIPINGS if way]), help="How hard it is wiped."
)
@daemon_option()
def describe(name: str, socket: Path, **said: Any) -> None:
    """Describe the surface NAME, for the first time or anew; what is not said stays as it is."""
    with catalogue_calls_at(socket) as catalogue:
        surfaces = {one.name: one.surface for one in catalogue.daemon.ask(Surfaces()).surfaces}
        changes = {entry: value for entry, value in said.items() if value is not None}
        surface = replace(surfaces.get(name) or Surface(name=name), **changes)
        catalogue.daemon.ask(SaveSurface(surface=surface, who=catalogue.who))
    click.echo(f"{name} is in the logbook.")
