"""`etchwarden update`: another release on this board, and back again when it is not well."""

import os
import sys
from pathlib import Path

import click

from etchwarden.installation.board import LiveBoard
from etchwarden.installation.change import Change
from etchwarden.installation.command import say
from etchwarden.installation.errors import InstallationError, Refused
from etchwarden.installation.paths import Places
from etchwarden.installation.releases import Releases
from etchwarden.installation.wheel import Wheel, require_newer
from etchwarden.shared.file_errors import faults_reported


@click.command()
@click.argument("wheel", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option(
    "--wheelhouse",
    metavar="FOLDER",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Take libraries from wheels in this folder, for a board without internet.",
)
@click.option("--older", is_flag=True, help="Go to an older version than the one in use.")
@click.option(
    "--root",
    metavar="FOLDER",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("/"),
    help="Update an installation below this folder; the system is told nothing then.",
)
def command(wheel: Path, wheelhouse: Path | None, older: bool, root: Path) -> None:
    """Update this board to the release in WHEEL, once no machine is at work.

    Records are copied first. The release in use stays; it is gone back to when a step or the
    self-check fails. After a power cut, run it again.
    """
    places = Places(root.resolve())
    if places.is_board and os.geteuid() != 0:
        raise click.ClickException("Updating needs root. Use sudo.")
    releases = Releases(places, wheelhouse, python=_systems_python())
    with faults_reported(root, InstallationError):
        new = Wheel.at(wheel)
        if releases.current() is None:
            raise Refused("Nothing is installed here. Use systemd/install.")
        require_newer(new, releases.current(), older=older)
        Change(
            places=places,
            releases=releases,
            board=LiveBoard.here(places, say),
            wheel=new,
            say=say,
        ).run()
    click.echo(f"Etchwarden {new.version} is in use.")


def _systems_python() -> str:
    """Return the Python that environments are made of: ours is one and goes with its release."""
    return getattr(sys, "_base_executable", sys.executable) or sys.executable
