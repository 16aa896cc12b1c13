"""`etchwarden restore`: put a backup in the logbook's place, with the daemon stopped."""

from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import click

from etchdaemon.assembly import LOGBOOK_NAME
from etchdaemon.errors import BackupFailed, EtchdaemonError
from etchdaemon.hardware.state_lock import state_lock
from etchdaemon.logbook.backup.backup import look_at
from etchdaemon.logbook.backup.restoring import restore
from etchdaemon.logbook.backup.space import as_size
from etchdaemon.logbook.backup.sums import sum_path
from etchwarden.shared.daemon_option import state_option
from etchwarden.shared.file_errors import faults_reported


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@state_option(is_required=True)
@click.option("--yes", is_flag=True, help="Do not ask.")
def command(file: Path, state: Path, *, yes: bool) -> None:
    """Check FILE, a backup, and put it in the place of the logbook.

    The logbook that was there is kept beside it. Nothing is changed when anything is wrong.
    """
    with faults_reported(state, EtchdaemonError), state_lock(state):
        _restore(file, state / LOGBOOK_NAME, is_asking=not yes)


def _restore(file: Path, logbook: Path, *, is_asking: bool) -> None:
    if is_asking:
        click.echo(f"{file} holds {_contents_text(file)}; the logbook {_contents_text(logbook)}.")
        click.confirm("Put the backup in its place?", abort=True)
    at_utc = datetime.now(UTC).isoformat(timespec="seconds")
    restored = restore(file, logbook, at_utc=at_utc)
    aside, runs = restored.aside, restored.backup.runs
    kept = f" What was there is kept as {aside.name}." if aside else ""
    click.echo(f"The logbook is now that of {file.name}: {runs} etches.{kept}")
    if not restored.is_as_written:
        click.echo(
            f"No {sum_path(file).name} lay beside it: it is whole and holds together, but whether"
            " a letter in it has changed could not be checked."
        )


def _contents_text(path: Path) -> str:
    with suppress(BackupFailed):
        found = look_at(path)
        return f"{found.runs} etches in {as_size(found.bytes)}"
    return "nothing that can be read"
