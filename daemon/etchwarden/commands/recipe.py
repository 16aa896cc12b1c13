"""`etchwarden recipe`: speed, power and spacing that suit a laser on a surface."""

from pathlib import Path

import click

from etchproof.choosing.filed_cards import greys_left_behind
from etchwarden.shared.catalogue_calls import catalogue_calls_at
from etchwarden.shared.daemon_option import daemon_option
from etchwire.calls.catalogue import Recipes, RetireRecipe, SaveRecipe
from etchwire.catalogue.power_pulses import pulse_note
from etchwire.catalogue.records import RecipeRecord


@click.group()
def command() -> None:
    """Recipes: list them, write one down, take one out of force."""


@command.command(name="list")
@click.option("--head", metavar="LASER", default="", help="Of this laser only.")
@click.option("--surface", metavar="TEXT", default="", help="Of this surface only.")
@daemon_option()
def list_them(head: str, surface: str, socket: Path) -> None:
    """Every recipe, newest first; a star marks one in force."""
    with catalogue_calls_at(socket) as catalogue:
        recipes = catalogue.daemon.ask(Recipes(head=head, surface=surface)).recipes
    for one in recipes:
        star = "*" if one.is_in_force else " "
        card = f" of card {one.card_number}" if one.card_number else ""
        tone = ", greys measured" if one.tone_curve else ""
        retired = ", retired" if one.retired_at_utc else ""
        click.echo(
            f"{star} {one.id}  {one.head} on {one.surface}: "
            f"{one.feed_mm_per_min:.0f} mm/min, {one.power_ratio * 100:.3g} %, "
            f"{one.line_spacing_mm:.3g} mm{', air assist' if one.air_assist else ''}{tone}; "
            f"by {one.origin}{card}, {one.who}, {one.at_utc[:16]}{retired}"
        )


@command.command()
@click.option("--head", metavar="LASER", required=True, help="Its name, or a file about it.")
@click.option("--surface", metavar="TEXT", required=True, help="Tile and paint.")
@click.option("--speed", "feed_mm_per_min", metavar="MM/MIN", type=float, required=True)
@click.option("--power", "power_percent", metavar="PERCENT", type=float, required=True)
@click.option("--spacing", "spacing_mm", metavar="MM", type=float, default=0.1, show_default=True)
@click.option("--air-assist", is_flag=True, help="With air assist on.")
@daemon_option()
def add(  # noqa: PLR0913 (a recipe has so many figures)
    *,
    head: str,
    surface: str,
    feed_mm_per_min: float,
    power_percent: float,
    spacing_mm: float,
    air_assist: bool,
    socket: Path,
) -> None:
    """Write a recipe down by hand; it is in force from now on."""
    with catalogue_calls_at(socket) as catalogue:
        laser = catalogue.head(head)
        catalogue.require_surface(surface)
        recipe = RecipeRecord(
            head=laser.name,
            surface=surface,
            feed_mm_per_min=feed_mm_per_min,
            power_ratio=power_percent / 100,
            line_spacing_mm=spacing_mm,
            air_assist=air_assist,
        )
        left_behind = greys_left_behind(catalogue.daemon.ask, laser.name, surface)
        number = catalogue.daemon.ask(SaveRecipe(recipe=recipe, who=catalogue.who)).id
    click.echo(f"Recipe {number} is in force for {laser.name} on {surface}.")
    for note in filter(None, (left_behind, pulse_note(laser, recipe.settings()))):
        click.echo(f"Note: {note}", err=True)


@command.command()
@click.argument("number", type=int)
@daemon_option()
def retire(number: int, socket: Path) -> None:
    """Take recipe NUMBER out of force. It is kept, because etches and cards lead to it."""
    with catalogue_calls_at(socket) as catalogue:
        catalogue.daemon.ask(RetireRecipe(id=number, who=catalogue.who))
    click.echo(f"Recipe {number} is retired; the one before it is in force again, if there is one.")
