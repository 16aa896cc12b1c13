"""`etchwarden export`: everything the logbook knows, as CSV and JSON."""

import shutil
from contextlib import closing
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory

import click

from etchdaemon.errors import EtchdaemonError
from etchdaemon.logbook.backup.exporting import export_logbook
from etchdaemon.logbook.schema.opening import open_logbook
from etchwarden.commands.backup import by_daemon, by_ourselves
from etchwarden.shared.daemon_option import daemon_option, state_option
from etchwarden.shared.file_errors import faults_reported
from etchwire.errors import WireError


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@daemon_option(is_required=False)
@state_option(is_required=False)
def command(folder: Path, socket: Path | None, state: Path | None) -> None:
    """Write everything the logbook knows into the new FOLDER, one CSV and one JSON file a table.

    An etch that is under way is not disturbed: what is exported is a backup made for it. Photos
    and pictures of jobs are not in it.
    """
    if socket is None and state is None:
        raise click.UsageError("Say --daemon where the daemon runs, or --state where it does not.")
    now_utc = datetime.now(UTC).isoformat(timespec="seconds")
    with (
        faults_reported(folder, EtchdaemonError, WireError),
        TemporaryDirectory(prefix="etchwarden-") as scratch,
    ):
        copy = Path(scratch, "logbook.sqlite3")
        if state is not None:
            by_ourselves(state, copy)
        elif socket is not None:
            shutil.copyfile(by_daemon(socket), copy)
        book, note = open_logbook(copy, at_utc=now_utc)
        with closing(book):
            rows = export_logbook(book, folder, at_utc=now_utc, software=version("etchwarden"))
    click.echo(f"{rows} records are in {folder}. {note or ''}".rstrip())
