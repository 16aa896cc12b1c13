"""`etchwarden practice`: a picture is etched on the practice machine, start to end."""

import signal
import socket
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, NoReturn

import click

from etchphoto.decoder.loading import load_photo
from etchphoto.demo import LIGHTHOUSE
from etchphoto.errors import EtchphotoError
from etchphoto.job.order import DEFAULT_HALFTONE, FROM_TEST_CARD, PhotoOrder
from etchphoto.job.order_findings import findings
from etchphoto.job.prepare import prepare_job
from etchphoto.measured_tone import MeasuredTone
from etchpractice.scenario.script import Scenario
from etchpractice.tile.imperfections import UnfitImperfection, read_imperfections
from etchpractice.tile.surface import DEFAULT as DEFAULT_SURFACE
from etchpractice.tile.surface import UnknownSurface, surface_named
from etchwarden.practice_session.output_files import keep, require_writable, summary
from etchwarden.practice_session.process_group import ProcessGroup
from etchwarden.practice_session.scenario import (
    LIST,
    listing,
    load_scenario,
    pace_of,
    play,
    print_json,
    print_words,
)
from etchwarden.practice_session.scenario_job import write_grey
from etchwarden.practice_session.session import Session
from etchwarden.shared.progress import progress_shown
from etchwire.calls.history import Run
from etchwire.catalogue.examples import (
    DEFAULT_HEAD,
    PRACTICE_HEADS,
    PRACTICE_RECORDS,
    practice_record_elsewhere,
)
from etchwire.catalogue.records import RecipeRecord
from etchwire.errors import WireError
from etchwire.storing import fault_of_card

PICTURE_HALFTONE: Final = FROM_TEST_CARD  # the practice machine's dots are known
_DEMO_WIDTH_MM: Final = 50.0


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
    "--imperfection",
    "imperfections",
    metavar="NAME=FIGURE",
    multiple=True,
    help="What goes wrong on the tile or with the laser, as haze=0.3; may be said several times.",
)
@click.option(
    "--scenario",
    metavar="NAME|FILE",
    help="Play this instead: a scenario that comes with the program (“list” lists them), or a file"
    " of your own (TOML): events, and what must come of them.",
)
@click.option(
    "--port",
    "page_port",
    metavar="PORT",
    default=8080,
    show_default=True,
    help="The port of the page.",
)
@click.option(
    "--new-box",
    "is_new_box",
    is_flag=True,
    help="Etch nothing: begin with a box that knows no laser and no recipe, and let the page lead"
    " from there to a first tile.",
)
@click.option("--json", "as_json", is_flag=True, hidden=True, help="Report to a program.")
def command(**options: Any) -> None:
    """Etch PHOTO, or a lighthouse of our own, on the practice machine.

    Nothing burns: machine, laser and tile are simulated, but the way there is the real one. The
    page's address is printed; Ctrl-C ends everything.
    """
    signal.signal(signal.SIGTERM, _leave)
    try:
        read_imperfections(options["imperfections"])
        _practise(_Options(**options))
    except (EtchphotoError, UnfitImperfection, UnknownSurface, WireError, OSError) as error:
        reason = fault_of_card(error)
        raise click.ClickException(f"{reason.capitalize()}." if reason else str(error)) from error
    except KeyboardInterrupt:
        click.echo("\nEverything is switched off.", err=True)
        sys.exit(130 if options["once"] else 0)


def _leave(signal_number: int, _frame: object) -> NoReturn:
    sys.exit(128 + signal_number)  # unwinds, so that every process is ended


@dataclass(frozen=True, slots=True, kw_only=True)
class _Options:
    """What was said on the command line."""

    photo: Path | None
    once: bool
    out: Path | None
    speedup: float
    width_mm: float
    head: str
    surface: str | None
    imperfections: tuple[str, ...]
    scenario: str | None
    page_port: int
    is_new_box: bool
    as_json: bool


def _practise(options: _Options) -> None:
    if options.scenario == LIST:
        click.echo(listing())
        return
    scenario = None if options.scenario is None else _scene(options, options.scenario)
    if options.is_new_box and (options.photo or options.once or options.out or scenario):
        raise click.UsageError("A new box etches nothing by itself: --new-box stands alone.")
    if options.out is not None:
        require_writable(options.out)
    with tempfile.TemporaryDirectory(prefix="etchwarden-") as scratch:
        folder = Path(scratch)
        with ProcessGroup(folder) as processes, processes.blaming_who_ended():
            session = Session(processes, folder)
            if options.is_new_box:
                _begin_new_box(options, session)
            elif scenario is None:
                _etch(options, session)
            else:
                _play(options, scenario, session)


def _begin_new_box(options: _Options, session: Session) -> None:
    session.start_machine(*_machine_options(options, options.speedup), is_new_box=True)
    session.start_page(options.page_port)
    click.echo(f"The new box is at http://127.0.0.1:{options.page_port}/ (Ctrl-C ends everything)")
    session.processes.stay()


def _etch(options: _Options, session: Session) -> None:
    _prepare(options, session)
    session.start_machine(*_machine_options(options, options.speedup))
    if not options.once:
        session.keep_pictures()
        session.start_page(options.page_port)
    session.begin_etch()
    if not options.once:
        click.echo(f"Watch it at http://127.0.0.1:{options.page_port}/ (Ctrl-C ends everything)")
    run_id = session.watch_etch()
    with session.ask_daemon() as daemon, session.ask_machine() as machine:
        if options.out is not None:
            keep(options.out, run_id, daemon=daemon, machine=machine, job=session.job)
        run = daemon.ask(Run(id=run_id))
    click.echo(summary(run, options.out))
    if not options.once:
        click.echo("The page stays until Ctrl-C.")
        session.processes.stay()
    if run.ended != "complete":
        sys.exit(1)


def _scene(options: _Options, named: str) -> Scenario:
    if options.photo is not None or options.out is not None:
        raise click.UsageError("A scenario brings its own picture and leaves nothing behind.")
    return load_scenario(named)


def _play(options: _Options, scenario: Scenario, session: Session) -> None:
    write_grey(scenario.picture, folder=session.job, head=options.head)
    pace = pace_of(scenario, options.speedup)
    session.start_machine(
        *_machine_options(options, pace),
        "--firmware", scenario.firmware, "--baud", str(scenario.baud),
        *(f"--imperfection={name}={figure}" for name, figure in scenario.imperfections.items()),
        box=session.keep_box(scenario.box) if scenario.box else None,
    )  # fmt: skip
    if scenario.needs_page or not options.once:
        session.keep_pictures()
        session.start_page(_free_port() if options.once else options.page_port)
    if not options.once:
        click.echo(f"Watch it at http://127.0.0.1:{options.page_port}/ (Ctrl-C ends everything)")
    came_true = play(
        scenario, session, pace=pace, report=print_json if options.as_json else print_words
    )
    if not options.once:
        click.echo("The page stays until Ctrl-C.")
        session.processes.stay()
    if not came_true:
        sys.exit(1)


def _free_port() -> int:
    """Return a port for a page that nobody is to look at."""
    with socket.socket() as knock:
        knock.bind(("127.0.0.1", 0))
        return int(knock.getsockname()[1])


def _prepare(options: _Options, session: Session) -> None:
    record = _record(options)
    tone = MeasuredTone.from_record(record.to_table())
    order = PhotoOrder(
        head=PRACTICE_HEADS[options.head],
        recipe=record.settings(),
        tone=tone,
        halftone=DEFAULT_HALFTONE if tone is None else PICTURE_HALFTONE,
        width_mm=options.width_mm,
        title=None if options.photo else "Lighthouse at dusk",
    )
    photo = load_photo(options.photo or LIGHTHOUSE)
    for finding in findings(photo, order):
        click.echo(f"Note: {finding.sentence}", err=True)
    with progress_shown("Preparing") as show:
        prepare_job(photo, order, folder=session.job, on_progress=show)


def _record(options: _Options) -> RecipeRecord:
    """Return the laser's recipe for the surface, with its greys where they were measured."""
    if options.surface in (None, DEFAULT_SURFACE):
        return PRACTICE_RECORDS[options.head]
    surface = surface_named(options.surface)
    return practice_record_elsewhere(options.head, surface.name, surface.title)


def _machine_options(options: _Options, speedup: float) -> tuple[str, ...]:
    surface = () if options.surface is None else ("--surface", options.surface)
    wrong = (word for pair in options.imperfections for word in ("--imperfection", pair))
    return ("--speedup", str(speedup), "--head", options.head, *surface, *wrong)
