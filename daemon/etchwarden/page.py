"""`etchwarden page`: serve the page that phones watch."""

import logging
from pathlib import Path

import click

from etchweb.app import create_app
from etchweb.daemon_socket import SocketDaemon
from etchweb.host_names import names_of
from etchweb.serving import LARGEST_PORT, AddressTaken, listen_at, serve


@click.command()
@click.option(
    "--daemon",
    "socket",
    type=click.Path(path_type=Path),
    required=True,
    help="The daemon's socket. The page also starts without it, and waits.",
)
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Where the page keeps what is its own; pictures of jobs lie in FOLDER/pictures.",
)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to be reached at.")
@click.option("--port", type=click.IntRange(0, LARGEST_PORT), default=8080, show_default=True)
def command(socket: Path, folder: Path, host: str, port: int) -> None:
    """Serve the page that phones watch.

    It decides nothing about the machine: ending it does not disturb an etch.
    """
    logging.basicConfig(level=logging.INFO, format="%(message)s")
    pictures = folder / "pictures"
    try:
        pictures.mkdir(parents=True, exist_ok=True)
        listener = listen_at(host, port)
    except AddressTaken as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"{folder} cannot be used: {error.strerror}.") from error
    app = create_app(SocketDaemon(socket), pictures, host_names=names_of(host))
    click.echo(f"The page is at http://{host}:{listener.getsockname()[1]}/")
    serve(app, listener)
