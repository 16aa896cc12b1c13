"""`etchwarden practice`: a picture is etched on the practice machine, start to end."""

import shutil
import signal
import socket
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NoReturn

import click

from etchphoto.errors import EtchphotoError
from etchphoto.job import PhotoOrder, prepare_job
from etchwarden.household import Household
from etchwarden.keepsakes import keep, require_writable, summary
from etchwire.client import DaemonClient
from etchwire.errors import DaemonAbsent, WireError
from etchwire.examples import DEFAULT_HEAD, PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import GCODE_NAME, PICTURE_NAME, SHEET_NAME, Sheet

START_PATIENCE_S: Final = 20.0
_LOOK_EVERY_S: Final = 0.1
_LAST_BREATH_S: Final = 2.0  # a process's socket closes a moment before it has ended
_DEMO_WIDTH_MM: Final = 50.0
# What a person answers at a real machine; nothing can burn at this one.
_PRACTICE_ANSWERS: Final[dict[str, Any]] = {
    "extinguisher": True,
    "lens": True,
    "filter": True,
    "focus": "spacer",
    "under the tile": True,
    "cloths and tins": True,
    "clean": True,
    "even": True,
    "coated hours ago": 24,
    "dry": True,
}


@dataclass(frozen=True, slots=True)
class _Places:
    """Where the processes of one session find one another, all in one folder."""

    folder: Path

    @property
    def job(self) -> Path:
        return self.folder / "job"

    @property
    def machine(self) -> Path:
        return self.folder / "machine"

    @property
    def control(self) -> Path:
        return self.machine / "control.sock"

    @property
    def daemon(self) -> Path:
        return self.folder / "daemon.sock"

    @property
    def records(self) -> Path:
        return self.folder / "records"

    @property
    def page(self) -> Path:
        return self.folder / "page"


@click.command()
@click.argument("photo", required=False, type=click.Path(path_type=Path))
@click.option("--once", is_flag=True, help="Run to the end without the page, then leave.")
@click.option(
    "--out",
    "out",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Where to leave the job, the etched tile and the record of the run.",
)
@click.option(
    "--speedup",
    metavar="N",
    default=20.0,
    show_default=True,
    type=click.FloatRange(min=1.0),
    help="How much faster than real time to run; beyond about 20, as fast as it goes.",
)
@click.option(
    "--width",
    "width_mm",
    metavar="MM",
    default=_DEMO_WIDTH_MM,
    show_default=True,
    help="Width of the picture on the tile.",
)
@click.option(
    "--head",
    metavar="LASER",
    default=DEFAULT_HEAD,
    show_default=True,
    type=click.Choice(list(PRACTICE_HEADS)),
    help=f"Which invented laser: {', '.join(PRACTICE_HEADS)}.",
)
@click.option("--surface", metavar="NAME", help="Which invented tile and paint to etch.")
@click.option(
    "--port",
    "page_port",
    metavar="PORT",
    default=8080,
    show_default=True,
    help="The port of the page.",
)
def command(**wishes: Any) -> None:
    """Etch PHOTO, or a lighthouse of our own, on the practice machine.

    Nothing burns: machine, laser and tile are simulated, but the way there is the real one. The
    page's address is printed; Ctrl-C ends everything.
    """
    signal.signal(signal.SIGTERM, _leave)
    try:
        _practise(_Session(**wishes))
    except (EtchphotoError, WireError, OSError) as error:
        raise click.ClickException(str(error)) from error
    except KeyboardInterrupt:
        click.echo("\nEverything is switched off.", err=True)
        sys.exit(130 if wishes["once"] else 0)


def _leave(signal_number: int, _frame: object) -> NoReturn:
    sys.exit(128 + signal_number)  # unwinds, so that the household is ended


@dataclass(frozen=True, slots=True, kw_only=True)
class _Session:
    """What was asked for on the command line."""

    photo: Path | None
    once: bool
    out: Path | None
    speedup: float
    width_mm: float
    head: str
    surface: str | None
    page_port: int


def _practise(session: _Session) -> None:
    if session.out is not None:
        require_writable(session.out)
    with tempfile.TemporaryDirectory(prefix="etchwarden-") as scratch:
        places = _Places(Path(scratch))
        sheet = _prepare(session, places.job)
        with Household(places.folder) as household, _blaming_who_ended(household):
            _start_processes(household, session, places, sheet)
            record = _etch(household, session, places)
            _part(household, session, record)


def _prepare(session: _Session, folder: Path) -> Sheet:
    order = PhotoOrder(
        head=PRACTICE_HEADS[session.head],
        recipe=PRACTICE_RECIPES[session.head],
        width_mm=session.width_mm,
        title=None if session.photo else "Lighthouse at dusk",
    )
    with tempfile.TemporaryDirectory(prefix="etchwarden-") as scratch, _bar("Preparing") as show:
        return prepare_job(_photo(session, Path(scratch)), order, folder=folder, on_progress=show)


def _photo(session: _Session, scratch: Path) -> Path:
    if session.photo is not None:
        return session.photo
    from etchphoto.demo import draw_lighthouse  # noqa: PLC0415 - only the demo needs it

    path = scratch / "lighthouse.png"
    draw_lighthouse().save(path)
    return path


def _start_processes(
    household: Household, session: _Session, places: _Places, sheet: Sheet
) -> None:
    machine = ["machine", "--folder", str(places.machine), "--speedup", str(session.speedup)]
    machine += ["--head", session.head]
    household.start("practice machine", *machine, *_said("--surface", session.surface))
    _await(household, places.control.is_socket)
    household.start(
        "daemon", "daemon", "--port", str(places.machine / "port"), "--socket", str(places.daemon),
        "--state", str(places.records), "--practice", str(places.machine),
    )  # fmt: skip
    _await(household, places.daemon.is_socket)
    if session.once:
        return
    pictures = places.page / "pictures"
    pictures.mkdir(parents=True)
    shutil.copyfile(places.job / PICTURE_NAME, pictures / f"{sheet.gcode_sha256}.png")
    household.start(
        "page", "page", "--daemon", str(places.daemon), "--folder", str(places.page),
        "--port", str(session.page_port), "--open-to-loopback",
    )  # fmt: skip
    _await(household, lambda: _is_answered(session.page_port))


def _is_answered(port: int) -> bool:
    with socket.socket() as knock:
        return knock.connect_ex(("127.0.0.1", port)) == 0


def _said(option: str, value: str | None) -> tuple[str, ...]:
    return () if value is None else (option, value)


def _etch(household: Household, session: _Session, places: _Places) -> dict[str, Any]:
    with _daemon(places) as daemon:
        gcode, sheet = places.job / GCODE_NAME, places.job / SHEET_NAME
        with gcode.open("rb") as gcode_file, sheet.open("rb") as sheet_file:
            daemon.load(gcode_file.fileno(), sheet_file.fileno())
        _arm(household, daemon, places)
        daemon.call("start", acknowledge_long_run=True)
    if not session.once:
        click.echo(f"Watch it at http://127.0.0.1:{session.page_port}/ (Ctrl-C ends everything)")
    run_id = _watch(household, places)
    with _daemon(places) as daemon, _machine(places) as machine:
        record = keep(session.out, run_id, daemon=daemon, machine=machine, job=places.job)
    click.echo(summary(record, session.out))
    return record


def _arm(household: Household, daemon: DaemonClient, places: _Places) -> None:
    """Do at the practice machine what a person does at a real one before every start."""
    _await(household, lambda: "arm" in daemon.call("status")["may"])
    daemon.call("arm", answers=_PRACTICE_ANSWERS)
    with _machine(places) as machine:
        machine.call("press_button")
    _await(household, lambda: "start" in daemon.call("status")["may"])


def _watch(household: Household, places: _Places) -> int:
    with _daemon(places) as daemon, _bar("Etching") as show:
        for snapshot in daemon.subscribe():
            _require_all_there(household)
            run = snapshot["run"]
            if run is not None:
                show(run["share"])
            if run is not None and run["ended"] is not None:
                return int(run["id"])
    raise click.ClickException("The daemon went silent before the run had ended.")


def _part(household: Household, session: _Session, record: dict[str, Any]) -> None:
    if session.once:
        if record["ended"] != "complete":
            sys.exit(1)
        return
    click.echo("The page stays until Ctrl-C.")
    while True:
        time.sleep(_LOOK_EVERY_S)
        _require_all_there(household)


def _daemon(places: _Places) -> DaemonClient:
    return DaemonClient(places.daemon)


def _machine(places: _Places) -> DaemonClient:
    return DaemonClient(places.control, peer="the practice machine", timeout_s=60.0)


def _await(household: Household, is_there: Callable[[], bool]) -> None:
    """Wait until `is_there`, but not past the end of one of the processes."""
    deadline_s = time.monotonic() + START_PATIENCE_S
    while not is_there():
        _require_all_there(household)
        if time.monotonic() > deadline_s:
            raise click.ClickException("The practice machine was not ready in time; try again.")
        time.sleep(_LOOK_EVERY_S)


@contextmanager
def _blaming_who_ended(household: Household) -> Iterator[None]:
    """When somebody no longer answers, say which process has ended, if one has."""
    try:
        yield
    except DaemonAbsent:
        deadline_s = time.monotonic() + _LAST_BREATH_S
        while time.monotonic() < deadline_s:
            _require_all_there(household)
            time.sleep(_LOOK_EVERY_S)
        raise


def _require_all_there(household: Household) -> None:
    ended = household.ended()
    if ended is not None:
        raise click.ClickException(f"{ended} Everything else was switched off.")


@contextmanager
def _bar(label: str) -> Iterator[Callable[[float], None]]:
    """Show progress to a person; in a log file a bar is noise."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    with click.progressbar(length=1000, label=label, file=sys.stderr) as bar:
        yield lambda share: bar.update(round(share * 1000) - bar.pos)
