"""The option by which commands find the daemon."""

from collections.abc import Callable
from pathlib import Path

import click

Command = Callable[..., None]


def daemon_option(*, is_required: bool = True) -> Callable[[Command], Command]:
    """Return the option that says where the daemon, and with it the logbook, is to be found."""
    return click.option(
        "--daemon",
        "socket",
        metavar="SOCKET",
        type=click.Path(path_type=Path),
        envvar="ETCHWARDEN_DAEMON",
        required=is_required,
        help="The daemon's socket; ETCHWARDEN_DAEMON says it once for all commands.",
    )
