"""How a command ends when something it needs cannot be used: in a sentence."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import click

from etchwire.configuration.faults import FaultyConfiguration

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


@contextmanager
def faults_reported(path: Path | None, *faults: type[Exception]) -> Iterator[None]:
    """End the command with the sentence of one of `faults`, or with what the system says of a file.

    `path` is named where the system names none.
    """
    try:
        yield
    except faults as error:
        raise click.ClickException(str(error)) from error
    except OSError as error:
        raise click.ClickException(f"{error.filename or path}: {error.strerror}.") from error
