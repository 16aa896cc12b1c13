"""`etchwarden lot`: tiles that were painted together, and which tile a job is etched on."""

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import click

from etchwarden.shared.catalogue_calls import catalogue_calls_at
from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.file_errors import faults_reported
from etchwarden.shared.machine_calls import sentence
from etchwire.calls.catalogue import AssignedTile, AssignTile, LotEntry, Lots, SaveLot
from etchwire.catalogue.lots import FROST_RATED, Lot, is_dry
from etchwire.errors import UnreadableSheet
from etchwire.sheet import read_sheet

_SHOWN: Final = (
    ("tile", "tile"),
    ("box", "box"),
    ("tiles", "tiles"),
    ("width_mm", "width in mm"),
    ("height_mm", "height in mm"),
    ("tolerance_mm", "give or take, in mm"),
    ("warp_mm", "warp in mm"),
    ("whiteness", "group of whiteness"),
    ("frost_rated", "frost-rated"),
    ("can", "can"),
    ("coats", "coats"),
    ("weight_gained_g", "weight gained by paint, in g"),
    ("notes", "notes"),
)


@click.group()
def command() -> None:
    """Painting lots: list them, show one, add one, say which tile was of which."""


@command.command(name="list")
@click.option("--surface", default="", metavar="TEXT", help="Of this tile and paint only.")
@daemon_option()
def list_them(surface: str, socket: Path) -> None:
    """Every painting lot, the one painted last first, and whether it is dry."""
    with catalogue_calls_at(socket) as catalogue:
        lots = catalogue.daemon.ask(Lots(surface=surface)).lots
    for one in lots:
        click.echo(f"{one.name}: {one.lot.surface}, {_dryness(one)}, {_etched(one)}")


@command.command()
@click.argument("name")
@daemon_option()
def show(name: str, socket: Path) -> None:
    """Everything that is known of the lot NAME."""
    with catalogue_calls_at(socket) as catalogue:
        lots = catalogue.daemon.ask(Lots()).lots
    found = next((one for one in lots if one.name == name), None)
    if found is None:
        raise click.ClickException(f"The logbook knows no painting lot {name!r}.")
    click.echo(f"{name}: {found.lot.surface}, {_dryness(found)}, {_etched(found)}")
    for entry, words in _SHOWN:
        value = getattr(found.lot, entry)
        if value:
            click.echo(f"  {words}: {f'{value:g}' if isinstance(value, float) else value}")


@command.command()
@click.argument("name")
@click.option("--surface", metavar="TEXT", help="Tile and paint; a new lot needs it.")
@click.option("--painted", metavar="TIME", help="When, as 2026-11-25T17:00; a new lot: now.")
@click.option("--dry-after", "dry_after_h", type=float, metavar="HOURS", help="By the paint; once.")
@click.option("--tile", help="Make and kind of the tiles.")
@click.option("--box", help="The box they are from.")
@click.option("--tiles", type=int, help="How many were painted.")
@click.option("--size", type=(float, float), metavar="W H", help="As measured, mm.")
@click.option("--tolerance", "tolerance_mm", type=float, metavar="MM", help="Give or take.")
@click.option("--warp", "warp_mm", type=float, metavar="MM", help="At the middle, on a flat bed.")
@click.option("--whiteness", help="The group of whiteness, as you sort them.")
@click.option("--frost-rated", type=click.Choice(FROST_RATED), help="As the maker says.")
@click.option("--can", help="Which can of paint.")
@click.option("--coats", type=int, help="How many coats.")
@click.option("--gained", "weight_gained_g", type=float, metavar="G", help="By the whole lot.")
@click.option("--notes", help="What else is worth knowing.")
@daemon_option()
def add(name: str, socket: Path, **said: Any) -> None:
    """Describe the lot NAME, for the first time or anew; what is not said stays as it is.

    A new lot is the one in use, and the box asks for a check strip of it.
    """
    with catalogue_calls_at(socket) as catalogue:
        known = {one.name: one.lot for one in catalogue.daemon.ask(Lots()).lots}
        lot = _described(known.get(name), name, said)
        catalogue.daemon.ask(SaveLot(lot=lot, who=catalogue.who))
        (saved,) = (one for one in catalogue.daemon.ask(Lots()).lots if one.name == name)
    click.echo(f"{name} is in the logbook: {_dryness(saved)}.")
    if name not in known:
        click.echo("A new lot: etch a check strip on one tile of it first (etchwarden card check).")


@command.command()
@click.argument("name")
@click.option("--run", type=int, help="The etch whose tile is of that lot.")
@click.option("--job", type=click.Path(path_type=Path), help="The job to be etched on it next.")
@click.option(
    "--pocket", "pockets", multiple=True, metavar="POCKET=LOT",
    help="Of several tiles in a jig, the one there is of that lot; may be given again.",
)  # fmt: skip
@daemon_option()
def assign(
    *, name: str, run: int | None, job: Path | None, pockets: tuple[str, ...], socket: Path
) -> None:
    """Say that a tile is of the lot NAME: that of a run, or the next that a job is etched on.

    Of several tiles in a jig all are, but those for which --pocket says another lot.
    """
    if (run is None) == (job is None):
        raise click.UsageError("Say --run for an etch that was, or --job for one to come.")
    gcode_sha256 = ""
    if job is not None:
        with faults_reported(job, UnreadableSheet):
            gcode_sha256 = read_sheet(job).gcode_sha256
    with catalogue_calls_at(socket) as catalogue:
        catalogue.daemon.ask(
            AssignTile(
                lot=name,
                run=run,
                gcode_sha256=gcode_sha256,
                tiles=tuple(map(_tile_in_pocket, pockets)),
                who=catalogue.who,
            )
        )
    but = f", but pocket {', '.join(pockets)}" if pockets else ""
    click.echo(f"{job if run is None else f'Run {run}'}: lot {name}{but}.")


@command.command()
@click.argument("photo", type=click.Path(path_type=Path))
@click.option(
    "--white", type=click.FloatRange(50, 100), default=95.0, show_default=True,
    help="L* of the left tile, where it was measured.",
)  # fmt: skip
def compare(photo: Path, white: float) -> None:
    """Say how much whiter one tile is than another, from a PHOTO of both.

    Lay them edge to edge, the older lot on the left, and fill the picture with both, the joint
    upright in its middle; bare paint, daylight from a wide sky, no lamp.
    """
    # Heavy: the other commands of lots need no photo.
    from etchproof.errors import PhotoRefused  # noqa: PLC0415
    from etchproof.reading.photograph import load_photograph  # noqa: PLC0415
    from etchproof.reading.whiteness import compare_whites, difference_words  # noqa: PLC0415

    try:
        found = compare_whites(load_photograph(photo).light, left_lightness=white)
    except PhotoRefused as refused:
        raise click.ClickException(sentence(refused)) from refused
    click.echo(difference_words(found))


def _tile_in_pocket(words: str) -> AssignedTile:
    pocket, equals, lot = words.partition("=")
    if not (equals and lot and pocket.isdecimal()):
        raise click.UsageError(f"{words!r} says no pocket: write it as 5=LOT.")
    return AssignedTile(pocket=int(pocket), lot=lot)


def _described(known: Lot | None, name: str, said: dict[str, Any]) -> Lot:
    """Return the lot as it is with what was said laid over it."""
    size, painted = said.pop("size"), said.pop("painted")
    changes = {entry: value for entry, value in said.items() if value is not None}
    if size is not None:
        changes["width_mm"], changes["height_mm"] = size
    if painted is not None or known is None:
        changes["painted_at_utc"] = _moment(painted)
    if known is None and "surface" not in changes:
        raise click.UsageError("Say --surface: on which tile and paint is this lot?")
    try:
        if known is not None:
            return replace(known, **changes)
        return Lot(name=name, **changes)
    except UnreadableSheet as unfit:
        raise click.ClickException(f"{str(unfit)[:1].upper()}{str(unfit)[1:]}.") from unfit


def _moment(painted: str | None) -> str:
    """Return a moment by the board's clock in UTC; now where nothing was said."""
    try:
        when = datetime.now(UTC) if painted is None else datetime.fromisoformat(painted)
    except ValueError as error:
        raise click.UsageError(f"{painted!r} is no time: write it as 2026-11-25T17:00.") from error
    return when.astimezone(UTC).isoformat(timespec="seconds")


def _dryness(one: LotEntry) -> str:
    assumed = " (overnight: common practice, tell the paint's hours)"
    basis = assumed if one.is_overnight_assumed else ""
    if is_dry(one.dry_at_utc, datetime.now(UTC).isoformat()):
        return f"dry{basis}"
    return f"not dry before {one.dry_at_utc[:16]} UTC{basis}"


def _etched(one: LotEntry) -> str:
    of_all = f" of {one.lot.tiles}" if one.lot.tiles else ""
    return f"{one.runs}{of_all} etched"
