"""How commands get their options, and those by which they find the daemon or its records."""

from collections.abc import Callable
from pathlib import Path

import click

Command = Callable[..., None]
Options = tuple[Callable[[Command], Command], ...]


def with_options(options: Options) -> Callable[[Command], Command]:
    """Return what gives a command these options, in this order."""

    def give(function: Command) -> Command:
        for option in reversed(options):
            function = option(function)
        return function

    return give


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


def state_option(*, is_required: bool) -> Callable[[Command], Command]:
    """Return the option that names the records of a daemon; where required, they must be there."""
    which = "the daemon, which must not run" if is_required else "a daemon that does not run"
    return click.option(
        "--state",
        metavar="FOLDER",
        required=is_required,
        type=click.Path(path_type=Path, file_okay=False, exists=is_required),
        help=f"The records of {which}.",
    )
