"""How a command ends when a file of the owner's cannot be used."""

from typing import Final

import click

from etchdaemon.configuration.faults import FaultyConfiguration

# sysexits.h: EX_CONFIG. The units name it: the service manager does not start again and again
# what only a person can put right.
UNFIT_FILE: Final = 78


class UnfitFile(click.ClickException):
    """The command ends with an exit code of its own, and is not to be started again by itself."""

    exit_code = UNFIT_FILE


def ended_by(refused: FaultyConfiguration) -> click.ClickException:
    """Return how to end; a file that could not be read just now is worth another start."""
    kind = UnfitFile if refused.is_lasting else click.ClickException
    return kind(str(refused))
