"""`etchwarden backup`: a sound copy of the logbook, while the daemon writes it or without one."""

import shutil
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

import click

from etchdaemon.assembly import LOGBOOK_NAME
from etchdaemon.errors import BackupFailed, EtchdaemonError, LogbookUnavailable
from etchdaemon.hardware.state_lock import state_lock
from etchdaemon.logbook.backup.backup import copy_logbook, look_at
from etchdaemon.logbook.backup.backups import FOLDER_NAME
from etchdaemon.logbook.backup.names import next_name, read_names
from etchdaemon.logbook.backup.space import as_size
from etchdaemon.logbook.backup.sums import is_as_written, put_in_place
from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.schema.opening import open_logbook
from etchwarden.shared.daemon_option import state_option
from etchwarden.shared.file_errors import faults_reported
from etchwarden.shared.progress import progress_shown
from etchwire.calls.backup import Backup, Backups
from etchwire.calls.client import DaemonClient
from etchwire.errors import WireError
from etchwire.storing import settle

LOOKS_EVERY_S: Final = 0.1


@click.command()
@click.argument("dest", required=False, type=click.Path(path_type=Path))
@click.option(
    "--daemon",
    "socket",
    metavar="SOCKET",
    type=click.Path(path_type=Path),
    help="The socket of a daemon that runs.",
)
@state_option(is_required=False)
def command(dest: Path | None, socket: Path | None, state: Path | None) -> None:
    """Make a backup of the logbook, check it, and leave a copy at DEST, a folder or a new file.

    The daemon makes one every night and keeps seven, in the box's own storage: copy one to
    something else now and then. An etch that is under way is not disturbed.
    """
    if (socket is None) == (state is None):
        raise click.UsageError("Say --daemon where the daemon runs, or --state where it does not.")
    with faults_reported(dest, EtchdaemonError, WireError):
        if socket is not None:
            made = by_daemon(socket)
            if dest is not None:
                made = _copied(made, dest)
        else:
            assert state is not None  # noqa: S101 - one of them is, see above
            made = by_ourselves(state, dest)
        found = look_at(made)
    click.echo(f"{found.path}: {found.runs} etches, {as_size(found.bytes)}, checked.")


def by_daemon(socket: Path) -> Path:
    """Have the daemon make one; return where it lies."""
    with DaemonClient(socket) as daemon, progress_shown("Copying the logbook") as show:
        state = daemon.ask(Backup())
        while state.share is not None:
            show(state.share)
            time.sleep(LOOKS_EVERY_S)
            state = daemon.ask(Backups())
        show(1.0)
    if state.trouble or not state.kept:
        raise BackupFailed(state.trouble or "The daemon keeps no backup.")
    return Path(state.folder, state.kept[0].name)


def _copied(made: Path, dest: Path) -> Path:
    """Copy a backup to `dest`, on the disk before anybody takes the stick out."""
    target = dest / made.name if dest.is_dir() else dest
    _require_free(target)
    arriving = target.with_name(f".arriving-{target.name}")
    with _readable(made), _removed_unless_moved(arriving):
        shutil.copyfile(made, arriving)
        is_as_written(arriving, called=made)
        settle(arriving)
        put_in_place(arriving, target)
    return target


@contextmanager
def _removed_unless_moved(path: Path) -> Iterator[None]:
    try:
        yield
    finally:
        path.unlink(missing_ok=True)


@contextmanager
def _readable(made: Path) -> Iterator[None]:
    try:
        yield
    except PermissionError as error:
        if error.filename != str(made):
            raise
        raise BackupFailed(
            f"The backup was made, but this user may not read {made}. Run the command as root."
        ) from error


def by_ourselves(state: Path, dest: Path | None) -> Path:
    """Copy the logbook of a daemon that does not run, and keep it from starting meanwhile."""
    logbook, now = state / LOGBOOK_NAME, datetime.now(UTC)
    if not logbook.is_file():
        raise BackupFailed(f"There is no logbook in {state}.")
    folder = dest if dest is not None else state / FOLDER_NAME
    if dest is None:
        folder.mkdir(exist_ok=True)
    target = folder
    if folder.is_dir():
        kept = read_names(path.name for path in folder.iterdir())
        target = folder / str(next_name(kept, now.replace(tzinfo=None)))
    _require_free(target)
    with state_lock(state), closing(_opened(logbook)) as book:
        copy_logbook(book, target, between=lambda _: None)
    return target


def _opened(logbook: Path) -> LogbookConnection:
    """Open a logbook that is sound; a damaged one is the daemon's to set aside."""
    book, note = open_logbook(logbook, at_utc=datetime.now(UTC).isoformat(timespec="seconds"))
    if note is not None:
        book.close()
        raise LogbookUnavailable(note)
    return book


def _require_free(target: Path) -> None:
    if target.exists():
        raise BackupFailed(f"There is already a {target}. Name another, or a folder.")
