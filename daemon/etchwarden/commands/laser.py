"""`etchwarden laser`: the lasers that the logbook knows."""

import shlex
from dataclasses import replace
from pathlib import Path
from typing import Final

import click

from etchwarden.shared.catalogue_calls import catalogue_calls_at
from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.heads import find_head
from etchwire.calls.catalogue import ChangeFilter, Filter, Heads, SaveHead, WipeLens
from etchwire.calls.orders import SaveShop, Shop
from etchwire.catalogue.extraction_filter import SECONDS_PER_HOUR, filter_note

LIKELY_INPUT_W: Final = 25.0  # single diodes give less (common practice, no source)


@click.group()
def command() -> None:
    """Lasers: list them, describe one, note a wiped lens or a new filter."""


@command.command(name="list")
@daemon_option()
def list_them(socket: Path) -> None:
    """Every laser with its hours of beam, and those since its lens was wiped."""
    with catalogue_calls_at(socket) as catalogue:
        heads = catalogue.daemon.ask(Heads()).heads
    for one in heads:
        head, since_s = one.head, one.beam_since_wipe_s
        measured = "measured" if head.register.is_measured else "never measured"
        wiped = "never noted" if since_s is None else f"{since_s / SECONDS_PER_HOUR:.1f} h ago"
        spot = "measured" if head.is_spot_measured else "as stated"
        if head.is_spot_unknown:
            spot = "assumed: not stated"
        if one.spot_found is not None:
            spot = (
                f"give or take {one.spot_found.give_or_take_mm:g} (nine times in ten), measured "
                f"{one.spot_found.at_utc[:10]} by reading {one.spot_found.reading}"
            )
        practice = ", practice" if one.is_practice else ""
        click.echo(
            f"{one.name}: {head.rated_optical_w:g} W{practice}, beam "
            f"{one.beam_s / SECONDS_PER_HOUR:.1f} h, lens wiped {wiped}, register {measured}, "
            f"spot {head.spot_x_mm:g} × {head.spot_y_mm:g} mm ({spot})"
        )


@command.command()
@click.argument("laser", metavar="FILE")
@click.option("--notes", default="", help="What else is worth knowing.")
@daemon_option()
def describe(laser: str, notes: str, socket: Path) -> None:
    """Describe a laser by a TOML FILE (see etchwarden prepare --help), for the first time or anew.

    Its rated watts are optical ones: many boxes print the watts that go in.
    """
    with catalogue_calls_at(socket) as catalogue:
        head = find_head(laser)
        catalogue.daemon.ask(SaveHead(head=head, notes=notes, who=catalogue.who))
    click.echo(f"{head.name} is in the logbook.")
    if head.is_spot_unknown:
        click.echo(
            "Its spot is not stated: a focus card measures it. etchwarden card focus -o NAME "
            f"--wedge LEFT RIGHT LENGTH --head {shlex.quote(head.name)} --surface TEXT"
        )
    if head.rated_optical_w > LIKELY_INPUT_W:
        click.echo(
            f"Note: {head.rated_optical_w:g} W is much for a diode laser: boxes often print the "
            "watts that go in. The optical ones count here.",
            err=True,
        )


@command.command()
@click.argument("laser", metavar="LASER")
@daemon_option()
def wiped(laser: str, socket: Path) -> None:
    """Note that the lens of LASER was wiped just now."""
    with catalogue_calls_at(socket) as catalogue:
        catalogue.daemon.ask(WipeLens(head=laser, who=catalogue.who))
    click.echo(f"The lens of {laser} is noted as wiped.")


@command.command(name="filter")
@click.option("--changed", is_flag=True, help="Note that it was changed just now.")
@click.option(
    "--limit", "limit_h", type=click.FloatRange(min=0), metavar="HOURS",
    help="Hours of beam after which it is to be changed; 0 for no limit.",
)  # fmt: skip
@daemon_option()
def filter_hours(*, changed: bool, limit_h: float | None, socket: Path) -> None:
    """Show the hours of beam that the extraction's filter has had, and the shop's limit."""
    with catalogue_calls_at(socket) as catalogue:
        daemon, who = catalogue.daemon, catalogue.who
        if changed:
            daemon.ask(ChangeFilter(who=who))
        if limit_h is not None:
            figures = replace(daemon.ask(Shop()).figures, filter_limit_h=limit_h)
            daemon.ask(SaveShop(figures=figures, who=who))
        found = daemon.ask(Filter())
    beam_h = found.beam_since_change_s / SECONDS_PER_HOUR
    since = "never noted" if found.changed_at_utc is None else found.changed_at_utc[:10]
    limit = f"{found.limit_h:g} h" if found.limit_h else "none"
    click.echo(f"Filter: beam {beam_h:.1f} h, changed {since}, limit {limit}")
    if note := filter_note(beam_h, found.limit_h):
        click.echo(note)
