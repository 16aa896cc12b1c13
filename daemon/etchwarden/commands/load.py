"""`etchwarden load`: hand a job, or another program's G-code, to the daemon."""

import tempfile
import time
from pathlib import Path
from typing import Final

import click

from etchpath.errors import EtchpathError
from etchpath.foreign_job import write_foreign_job
from etchwarden.shared.daemon_option import daemon_option
from etchwarden.shared.file_errors import faults_reported
from etchwarden.shared.heads import find_head
from etchweb.previews.store import PICTURES_FOLDER, draw_path, keep_picture
from etchwire.calls.client import DaemonClient
from etchwire.calls.machine import Load, Status
from etchwire.calls.snapshot import PreflightView
from etchwire.errors import WireError
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, read_sheet, tidied_words

LOOKS_EVERY_S: Final = 0.2
UNLOADED: Final = "Somebody has put the job away meanwhile."


@click.command(name="load")
@click.argument("job", type=click.Path(exists=True, path_type=Path))
@daemon_option()
@click.option("--head", metavar="LASER", help="For other software's G-code: which laser burns it.")
@click.option(
    "--page",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    help="The page's own folder, to leave it pictures of the job.",
)
@click.option("--surface", default="not told", help="For other software's G-code: tile and paint.")
def command(job: Path, socket: Path, head: str | None, page: Path | None, surface: str) -> None:
    """Hand JOB, a job folder or a G-code file, to the daemon, and wait until it is checked.

    Another program's file is sent without blanks, comments, line numbers and the % round a
    program; nothing that moves or burns is changed, and messages name the original's lines.
    Exit code 0 means ready, 1 refused, 3 that something must be read and accepted first.
    """
    with (
        faults_reported(job, EtchpathError, WireError),
        tempfile.TemporaryDirectory() as made,
        DaemonClient(socket) as daemon,
    ):
        folder = job if job.is_dir() else Path(made)
        if folder is not job:
            _make_job(job, folder, head, surface)
        with (
            (folder / GCODE_NAME).open("rb") as gcode,
            (folder / SHEET_NAME).open("rb") as sheet,
        ):
            daemon.ask(Load(gcode_fd=gcode.fileno(), sheet_fd=sheet.fileno()))
        if page is not None:
            _leave_pictures(folder, page / PICTURES_FOLDER)
        found = _await_check(daemon)
    click.echo(found.sentence)
    raise SystemExit({"ready": 0, "acknowledge": 3}.get(found.verdict, 1))


def _make_job(gcode: Path, folder: Path, head: str | None, surface: str) -> None:
    if head is None:
        raise click.ClickException("Say with --head which laser burns this file.")
    sheet = write_foreign_job(gcode, folder, head=find_head(head), surface=surface)
    if sheet.original is not None and sheet.original.tidied_lines:
        click.echo(f"Tidied {tidied_words(sheet.original.tidied_lines)}.")


def _leave_pictures(job: Path, pictures: Path) -> None:
    gcode_sha256 = read_sheet(job).gcode_sha256
    draw_path(job, folder=pictures, gcode_sha256=gcode_sha256)
    if (job / PICTURE_NAME).exists():
        keep_picture(job / PICTURE_NAME, folder=pictures, gcode_sha256=gcode_sha256)


def _await_check(daemon: DaemonClient) -> PreflightView:
    """Return what the preflight found; until the machine is there it cannot begin."""
    while True:
        now = daemon.ask(Status())
        if now.job is None:
            raise click.ClickException(UNLOADED)
        if now.job.preflight.verdict != "checking" or now.machine.link != "ready":
            return now.job.preflight
        time.sleep(LOOKS_EVERY_S)
