"""`etchwarden machine`: the practice machine, alone, on a pseudo-terminal."""

from pathlib import Path
from typing import Any

import click

from etchwarden.shared.heads import find_head
from etchwire.catalogue.examples import DEFAULT_HEAD, PRACTICE_REGISTER
from etchwire.errors import WireError


@click.command()
@click.option(
    "--folder",
    metavar="DIR",
    required=True,
    type=click.Path(path_type=Path, file_okay=False),
    help="Where the port, the clock and the sockets appear.",
)
@click.option(
    "--speedup",
    metavar="N",
    default=1.0,
    show_default=True,
    type=click.FloatRange(min=1.0),
    help="How much faster than real time; beyond 20, as fast as it goes.",
)
@click.option(
    "--surface",
    metavar="NAME",
    help="Which invented tile and paint lies under it, or a TOML file with the figures of another.",
)
@click.option(
    "--head",
    metavar="LASER",
    default=DEFAULT_HEAD,
    show_default=True,
    help="A practice laser, or a file that describes one.",
)
@click.option(
    "--firmware",
    default="8-bit",
    show_default=True,
    type=click.Choice(["8-bit", "32-bit"]),
    help="Which controller it plays.",
)
@click.option("--baud", default=115200, show_default=True, type=click.IntRange(min=1200))
@click.option(
    "--beam-lag",
    "beam_lag_s",
    metavar="S",
    default=PRACTICE_REGISTER.beam_lag_s,
    show_default=True,
    help="How late the beam follows the controller.",
)
@click.option(
    "--slack",
    "slack_mm",
    metavar="MM",
    default=PRACTICE_REGISTER.slack_mm,
    show_default=True,
    help="How far apart the head's two ways along a row lie.",
)
@click.option(
    "--imperfection",
    "imperfections",
    metavar="NAME=FIGURE",
    multiple=True,
    help="What goes wrong on the tile or with the laser, as haze=0.3; all of it invented.",
)
@click.option("--seed", default=1, show_default=True, help="Which coat of paint, which noise.")
def command(**options: Any) -> None:
    """Play a laser engraver: a controller, its motion, its beam and a tile.

    DIR/port is opened like a serial port. The tile's pictures, and everything that can be made
    to go wrong, are asked for at DIR/control.sock. Ctrl-C ends it.
    """
    from etchpractice.machine import PracticeMachine  # noqa: PLC0415 - numpy is slow to start
    from etchpractice.process import PracticeProcess, Terms  # noqa: PLC0415
    from etchpractice.tile.imperfections import (  # noqa: PLC0415
        UnfitImperfection,
        read_imperfections,
    )
    from etchpractice.tile.surface import DEFAULT, UnknownSurface  # noqa: PLC0415

    folder, speedup = options.pop("folder"), options.pop("speedup")
    try:
        options["head"] = find_head(options["head"])
        options["surface"] = options["surface"] or DEFAULT
        options["imperfections"] = read_imperfections(options["imperfections"])
        machine = PracticeMachine(**options)
        PracticeProcess(machine, Terms(folder=folder, speedup=speedup)).run()
    except (WireError, UnknownSurface, UnfitImperfection, OSError) as error:
        raise click.ClickException(str(error)) from error
