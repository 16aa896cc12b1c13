"""`etchwarden mural`: one photo over many tiles becomes a job for each, and a plan to lay them."""

import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import click

from etchphoto.decoder.loading import load_photo
from etchphoto.job.order import FROM_TEST_CARD, PhotoOrder
from etchphoto.job.order_findings import suited_halftone
from etchphoto.layout.mural_file import read_mural
from etchphoto.layout.mural_job import (
    PLAN_NAME,
    MuralJob,
    mural_job,
    prepare_again,
    prepare_mural,
    search_s,
)
from etchwarden.shared.daemon_option import Options, with_options
from etchwarden.shared.job_summary import duration, summary
from etchwarden.shared.prepare_options import (
    ACKNOWLEDGE,
    ONE_WAY,
    PLACE,
    SETTINGS,
    SURFACE,
    OrderOptions,
    refusals_reported,
    say_notes,
)
from etchwarden.shared.progress import progress_shown

_EPILOG: Final = """\
\b
A mural is a file like this:
  format = "etchwarden-mural"
  version = 1
  name = "Harbour"

\b
  [wall]
  columns = 6
  rows = 8
  tile_width_mm = 100
  tile_height_mm = 100
  joint_mm = 3           # the strip of the photo behind it is left out

\b
  [photo]                # may be left out: crop, turn, halftone, brightness, contrast, gamma,
  open_shadows = 30      # open_shadows, as in `prepare`; "test-card" takes many minutes

\b
  [[layer]]              # lettering, outlines and masks as in `design`, in millimetres from the
  kind = "lettering"     # wall's upper left corner, over joints as if there were none
  text = "Harbour"
  size_mm = 40
  box = { left_mm = 10, top_mm = 720, width_mm = 590, height_mm = 90 }
  ink = "white"

\b
  [[tile]]               # where tiles were measured: all show the white and black that the
  number = 5             # weakest can; those that are not named count as the weakest
  white = 0.78
  black = 0.08

\b
Examples:
  etchwarden mural harbour.toml harbour.jpg -o harbour
  etchwarden mural harbour.toml harbour.jpg -o harbour --only 5
"""

_OPTIONS: Final[Options] = (
    click.argument("file", metavar="MURAL", type=click.Path(path_type=Path)),
    click.argument("photo", type=click.Path(path_type=Path)),
    click.option(
        "-o", "--output", "folder", metavar="FOLDER", type=click.Path(path_type=Path),
        required=True, help="The folder to make, with a job for each tile and the plan.",
    ),
    click.option(
        "--only", "number", metavar="NUMBER", type=int,
        help="Make this tile of a mural in FOLDER again: its dots are those that it had.",
    ),
    *SETTINGS,
    *ONE_WAY,
    *PLACE,
    *SURFACE,
    *ACKNOWLEDGE,
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class _Options(OrderOptions):
    """What was said on the command line; None for what was not."""

    file: Path
    photo: Path
    folder: Path
    number: int | None


@click.command(epilog=_EPILOG)
@with_options(_OPTIONS)
def command(**said: Any) -> None:
    """Turn PHOTO into the jobs of all tiles of MURAL, numbered row by row from the top left.

    The photo is made into dots as one picture, so that edges meet and lines go on straight
    behind the joints. Dots from the test card are searched for tile by tile, which takes longer.
    """
    options = _Options(**said)
    with refusals_reported():
        job = _job(options)
        say_notes(job.findings)
        if job.is_searched and options.number is None:
            dots = job.dots.columns * job.dots.rows
            lasts = duration(search_s(job.order, dots, time.process_time))
            words = f"Searching for {dots / 1e6:.1f} million dots takes about {lasts}"
            click.echo(f"{words} on this computer.", err=True)
        with progress_shown("Preparing") as show_progress:
            if options.number is not None:
                sheet = prepare_again(
                    job, options.number, folder=options.folder, on_progress=show_progress
                )
                click.echo(f"{summary(sheet)}\nThe tile's job is in {options.folder}.")
                return
            seconds = prepare_mural(job, folder=options.folder, on_progress=show_progress)
    wall = job.mural.wall
    white = wall.tiles - len(seconds)
    click.echo(
        f"{job.mural.name}: {wall.columns} × {wall.rows} tiles, {wall.width_mm:g} × "
        f"{wall.height_mm:g} mm overall with joints of {wall.joint_mm:g} mm.\n"
        f"Etching will take {duration(sum(seconds.values()))} in all.\n"
        + (f"{white} tiles stay white and have no job.\n" if white else "")
        + f"The jobs are in {options.folder}; print {options.folder / PLAN_NAME} to lay the tiles."
    )


def _job(options: _Options) -> MuralJob:
    mural = read_mural(options.file)
    order = options.order(width_mm=mural.wall.tile_width_mm, halftone=mural.photo.halftone)
    if (
        order.halftone == FROM_TEST_CARD and not mural.photo.halftone
    ):  # a single tile's usual choice
        order = _with_kernel(order)
    return mural_job(mural, order, load_photo(options.photo))


def _with_kernel(order: PhotoOrder) -> PhotoOrder:
    """Return the order with the dots that the tone card was read with, or that suit the spot."""
    read_with = order.tone.halftone if order.tone is not None else ""
    return replace(order, halftone=read_with or suited_halftone(order.motion))
