"""`etchwarden jig`: the jigs of a machine, and where each tile lies on the bed."""

import getpass
from pathlib import Path
from typing import Final

import click

from etchphoto.layout.jig import Corners, Jig
from etchphoto.layout.jig_file import read_jig
from etchphoto.layout.jig_measuring import corner_under
from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.heads import find_head
from etchwarden.shared.jigs import find_jig
from etchwarden.shared.machine_calls import daemon_at
from etchwarden.shared.prepare_options import refusals_reported
from etchwire.calls.catalogue import Jigs, SaveJig
from etchwire.calls.client import DaemonClient
from etchwire.calls.machine import Status
from etchwire.catalogue.examples import DEFAULT_HEAD, PRACTICE_HEADS

_EPILOG: Final = """\
\b
A jig is a file like this:
  format = "etchwarden-jig"
  version = 1
  name = "Coasters"
  exhaust = "back"          # left, right, front or back: tiles there are etched first
  tile_mm = 6               # how thick the tiles are that the laser is in focus on; may be left out
  focus_depth_mm = 0.6      # as a focus card measures it; may be left out

\b
  [pockets]
  columns = 4
  rows = 3
  pitch_x_mm = 95
  pitch_y_mm = 95
  width_mm = 91
  height_mm = 91

\b
  [corners]                 # where the head stood over them, the beam off: etchwarden move
  lower_left_mm = [5.0, 5.0]        # of the first pocket, at the lower left
  upper_right_mm = [381.0, 286.0]   # of the last one
"""


_POINTER: Final = click.option(
    "--pointer", metavar="LASER", help="The pointer of this laser stands over the corners."
)


@click.group(epilog=_EPILOG)
def command() -> None:
    """Jigs: pockets that hold several tiles on the bed, kept with their machine."""


@command.command("list")
@daemon_option()
def list_jigs(socket: Path) -> None:
    """List the jigs that the machine keeps."""
    with daemon_at(socket) as daemon:
        jigs = daemon.ask(Jigs()).jigs
    for one in jigs:
        jig = one.jig
        click.echo(
            f"{one.name}: {jig.columns} × {jig.rows} pockets of {jig.width_mm:g} × "
            f"{jig.height_mm:g} mm, measured by {one.who} on {one.changed_at_utc[:10]}"
        )
    if not jigs:
        click.echo("No jig has been measured on this machine yet.")


@command.command()
@click.argument("file", metavar="JIG", type=click.Path(path_type=Path))
@click.option(
    "--measure",
    "is_measured",
    is_flag=True,
    help="Take the corners from where the head stands; you are asked to move it there.",
)
@_POINTER
@daemon_option()
def add(file: Path, is_measured: bool, pointer: str | None, socket: Path) -> None:
    """Keep the jig of the file JIG with the machine, over what it kept under that name.

    With --measure the file needs no corners: move the head over each, beam off (`etchwarden
    move`, or the page), and say so. They count from the origin: a jig that was moved, or another
    origin, has to be measured anew.
    """
    with refusals_reported(), daemon_at(socket) as daemon:
        corners = _measured(daemon, pointer) if is_measured else None
        jig = read_jig(file, corners)
        _require_within(daemon, jig)
        daemon.ask(SaveJig(jig=jig.record, who=getpass.getuser()))
    click.echo(f"The machine keeps {jig.name}: {len(jig.places())} pockets.")


def _measured(daemon: DaemonClient, pointer: str | None) -> Corners:
    """Return where the head, or its pointer, stood when a person said so, twice."""
    head = None if pointer is None else find_head(pointer)
    found = []
    for which in ("lower left corner of the first pocket", "upper right corner of the last one"):
        click.prompt(
            f"Move it over the {which}, the beam off, and press Enter",
            default="", show_default=False, prompt_suffix=": ",
        )  # fmt: skip
        found.append(corner_under(daemon.ask(Status()).machine, head))
        click.echo(f"x {found[-1][0]:z.2f}, y {found[-1][1]:z.2f} mm from the origin.")
    return Corners(lower_left_mm=found[0], upper_right_mm=found[1])


def _require_within(daemon: DaemonClient, jig: Jig) -> None:
    bed = daemon.ask(Status()).machine.bed
    if bed is not None:
        jig.require_within(bed)


@command.command()
@click.argument("name", metavar="JIG")
@click.option(
    "--tile",
    "tile_mm",
    type=float,
    nargs=2,
    metavar="WIDTH HEIGHT",
    help="The tiles' measured size; left out, they fill their pockets.",
)
@daemon_option(is_required=False)
@click.option(
    "--head", metavar="LASER", default=DEFAULT_HEAD, show_default=True,
    help=f"A laser's TOML file, or {', '.join(PRACTICE_HEADS)}: its travel is the bed.",
)  # fmt: skip
def show(name: str, tile_mm: tuple[float, float] | None, socket: Path | None, head: str) -> None:
    """Say where each tile of JIG lies, in the order of etching, as `prepare --at` takes it.

    JIG is one that the machine keeps, or a file.

    Places count from the origin by which the corners were measured. A tile lies in the middle of
    its pocket.
    """
    with refusals_reported():
        jig = find_jig(name, socket)
        width_mm, height_mm = tile_mm or (jig.pockets.width_mm, jig.pockets.height_mm)
        jig.require_fits(width_mm, height_mm)
        jig.require_on_bed(find_head(head))
    click.echo(
        f"{jig.name}: {jig.pockets.columns} × {jig.pockets.rows} pockets, for tiles of "
        f"{width_mm:g} × {height_mm:g} mm; the exhaust is at the {jig.exhaust}."
    )
    for pocket in jig.in_order():
        x_mm, y_mm = pocket.corner_mm(width_mm, height_mm)
        click.echo(
            f"Pocket {pocket.number} (row {pocket.row + 1}, column {pocket.column + 1}): "
            f"--at {x_mm:.2f} {y_mm:.2f}"
        )
