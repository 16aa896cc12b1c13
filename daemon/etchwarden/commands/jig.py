"""`etchwarden jig`: where each tile of a jig lies on the bed, and in which order to etch."""

from pathlib import Path
from typing import Final

import click

from etchphoto.layout.jig_file import read_jig
from etchwarden.shared.heads import find_head
from etchwarden.shared.prepare_options import refusals_told
from etchwire.catalogue.examples import DEFAULT_HEAD, PRACTICE_HEADS

_EPILOG: Final = """\
\b
A jig is a file like this:
  format = "etchwarden-jig"
  version = 1
  name = "Coasters"
  exhaust = "back"          # left, right, front or back: tiles there are etched first

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


@click.group(epilog=_EPILOG)
def command() -> None:
    """Jigs: pockets that hold several tiles on the bed."""


@command.command()
@click.argument("file", metavar="JIG", type=click.Path(path_type=Path))
@click.option(
    "--tile",
    "tile_mm",
    type=float,
    nargs=2,
    metavar="WIDTH HEIGHT",
    help="The tiles' measured size; left out, they fill their pockets.",
)
@click.option(
    "--head", metavar="LASER", default=DEFAULT_HEAD, show_default=True,
    help=f"A laser's TOML file, or {', '.join(PRACTICE_HEADS)}: its travel is the bed.",
)  # fmt: skip
def show(file: Path, tile_mm: tuple[float, float] | None, head: str) -> None:
    """Say where each tile of JIG lies, in the order of etching, as `prepare --at` takes it.

    Places count from the origin by which the corners were measured. A tile lies in the middle of
    its pocket.
    """
    with refusals_told():
        jig = read_jig(file)
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
