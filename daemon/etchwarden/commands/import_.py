"""`etchwarden import`: an export of another box into a fresh one."""

from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import click

from etchdaemon.assembly import LOGBOOK_NAME
from etchdaemon.errors import EtchdaemonError
from etchdaemon.hardware.state_lock import state_lock
from etchdaemon.logbook.backup.exporting import import_logbook
from etchdaemon.logbook.schema.opening import open_logbook
from etchwarden.shared.daemon_option import state_option
from etchwarden.shared.file_errors import faults_reported


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@state_option(is_required=True)
def command(folder: Path, state: Path) -> None:
    """Take FOLDER, which etchwarden export wrote, into the logbook of a fresh box.

    All of it is taken, or nothing: an export of another version is refused, and so is one of
    whose files a byte was changed.
    """
    with faults_reported(state, EtchdaemonError), state_lock(state):
        now_utc = datetime.now(UTC).isoformat(timespec="seconds")
        book, _ = open_logbook(state / LOGBOOK_NAME, at_utc=now_utc)
        with closing(book):
            rows = import_logbook(book, folder)
    click.echo(f"{rows} records were taken in.")
