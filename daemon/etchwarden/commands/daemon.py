"""`etchwarden daemon`: own the machine."""

import logging
import sys
from pathlib import Path

import click

_FOLDER = click.Path(file_okay=False, path_type=Path)


@click.command(name="daemon")
@click.option(
    "--port", help="The serial port that the machine is on; otherwise the one that --box names."
)
@click.option(
    "--socket",
    required=True,
    type=click.Path(path_type=Path),
    help="Where pages and commands reach the daemon.",
)
@click.option(
    "--state", required=True, type=_FOLDER, help="Folder of the logbook and the jobs handed in."
)
@click.option("--practice", type=_FOLDER, help="Folder of the practice machine that is on PORT.")
@click.option(
    "--box",
    type=click.Path(path_type=Path),
    help="How the box is wired (TOML). Without it a real port is only watched, and on the practice"
    " machine everything is wired.",
)
@click.option(
    "--new-box",
    "is_new",
    is_flag=True,
    help="With --practice: begin without the invented lasers and recipes, as a new box does.",
)
def command(
    *,
    port: str | None,
    socket: Path,
    state: Path,
    practice: Path | None,
    box: Path | None,
    is_new: bool,
) -> None:
    """Own the machine: stream jobs, watch it, keep the logbook.

    Ends with SIGTERM or Ctrl-C; an etch that is under way is stopped first.
    """
    from etchdaemon.assembly import DaemonPaths, run_daemon  # noqa: PLC0415 - `--help` stays quick
    from etchdaemon.errors import EtchdaemonError  # noqa: PLC0415
    from etchwarden.shared.file_errors import ended_by  # noqa: PLC0415
    from etchwire.configuration.faults import FaultyConfiguration  # noqa: PLC0415
    from etchwire.errors import WireError  # noqa: PLC0415

    logging.basicConfig(level=logging.INFO, format="%(asctime)s %(name)s: %(message)s")
    try:
        state.mkdir(parents=True, exist_ok=True)
        port = port or _port_in(box)  # empty where it is to be named later: the daemon waits
        places = DaemonPaths(
            port=port, socket=socket, state=state, practice=practice, box=box, is_new=is_new
        )
        sys.exit(run_daemon(places))
    except FaultyConfiguration as refused:
        raise ended_by(refused) from refused
    except (EtchdaemonError, WireError) as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"{error.filename or state}: {error.strerror}.") from error


def _port_in(box: Path | None) -> str:
    from etchdaemon.configuration.loading import load_configuration  # noqa: PLC0415

    if box is None:
        raise click.UsageError("Say which port it is, with --port or in the file of --box.")
    return load_configuration(box).port
