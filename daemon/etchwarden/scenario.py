"""A scenario on real processes: practice machine, daemon and, to watch it, the page."""

import signal
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import click

from etchpractice.scenario.events import Actor, Event
from etchpractice.scenario.people import arguments_of
from etchpractice.scenario.rows import PIECE_MM, amiss
from etchpractice.scenario.script import (
    GETTING_READY,
    STARTING,
    Begins,
    FaultyScenario,
    Scenario,
    Step,
    read_scenario,
)
from etchpractice.scenario.shelf import GROUPS, NoSuchScenario, scenario_called, shelved
from etchpractice.scenario.sight import Sight
from etchpractice.scenario.stage import perform
from etchwarden.session import Session
from etchwire.client import DaemonClient
from etchwire.errors import Refused
from etchwire.sheet import read_sheet

LIST: Final = "list"
MOST_SPEEDUP: Final = 20.0  # beyond it nobody knows how far time gets between two looks
SLACK_S: Final = 0.5  # of the wall's, for whatever has to go through processes first
_LOOK_EVERY_S: Final = 0.002
_DAEMON: Final = "daemon"
_SIGNALS: Final[Mapping[str, tuple[str, signal.Signals]]] = {
    "kill_daemon": (_DAEMON, signal.SIGKILL),
    "stop_daemon": (_DAEMON, signal.SIGSTOP),
    "continue_daemon": (_DAEMON, signal.SIGCONT),
    "kill_page": ("page", signal.SIGKILL),
}


def listing() -> str:
    """Return what is played when nobody names it: every scenario that comes with the program."""
    lines = []
    for group, title in GROUPS.items():
        lines += [f"{title}:", ""]
        lines += [f"  {one.name}\n      {one.about}" for one in shelved() if one.group == group]
        lines += [""]
    return "\n".join(lines).rstrip()


def load_scenario(named: str) -> Scenario:
    """Read the scenario of that name, or the file there; raise ClickException naming each fault."""
    path = _path_of(named)
    try:
        return read_scenario(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        said = error.strerror if isinstance(error, OSError) else "it is not text in UTF-8"
        raise click.ClickException(f"{path}: {said}.") from error
    except FaultyScenario as error:
        raise click.ClickException(f"{path}: {error}") from error


def _path_of(named: str) -> Path:
    path = Path(named)
    if path.suffix == ".toml" or len(path.parts) > 1 or path.is_file():
        return path
    try:
        return scenario_called(named)
    except NoSuchScenario as error:
        raise click.ClickException(f"{error} A file of your own ends in “.toml”.") from error


def pace_of(scenario: Scenario, speedup: float) -> float:
    """Return how fast a scenario is played when `speedup` is asked for."""
    return 1.0 if scenario.needs_real_time else min(speedup, MOST_SPEEDUP)


def play(scenario: Scenario, session: Session, *, pace: float) -> bool:
    """Play on a session whose processes run, tell what happens, return whether all came true."""
    click.echo(scenario.about)
    with session.ask_daemon() as daemon, session.ask_machine() as machine:
        session.load(daemon)
        stage = ProcessStage(scenario, session, daemon, machine)
        if scenario.begins is Begins.ETCHING:
            for step in (*GETTING_READY, STARTING):
                stage.take(step)
        told = None
        for told in perform(scenario, stage, slack_s=SLACK_S * pace):
            click.echo(str(told))
    has_failed = told is None or told.is_failure
    click.echo("Not everything came as it should." if has_failed else "Everything came so.")
    return not has_failed


@dataclass(slots=True)
class ProcessStage:
    """A Stage over the sockets; what happens to processes are signals."""

    scenario: Scenario
    session: Session
    daemon: DaemonClient
    machine: DaemonClient
    _answers: bool = True  # whether the daemon can be asked
    _refusal: str | None = None
    _sheet: Any = field(init=False)

    def __post_init__(self) -> None:
        """Read what was promised."""
        self._sheet = read_sheet(self.session.job)

    def sight(self) -> Sight:
        """Return what is seen now; raise ClickException where a process is missed."""
        self.session.household.require_all()
        return Sight(
            machine=self.machine.call("state"),
            status=self.daemon.call("status") if self._answers else None,
            refusal=self._refusal,
            look_at_rows=self._look_at_rows,
        )

    def do(self, event: Event) -> None:
        """Let `event` happen."""
        _DOERS[event.kind.actor](self, event)

    def let_time_pass(self) -> None:
        """Wait a moment of the wall's: the machine's time goes by itself."""
        time.sleep(_LOOK_EVERY_S)

    def take(self, step: Step) -> None:
        """Wait until `step` is offered and do it; raise ClickException when it is refused."""
        self.session.household.wait_until(lambda: step.moment.offered in self.sight().may)
        if step.event is not None:
            self.do(step.event)
        if self._refusal is not None:
            raise click.ClickException(f"The etch cannot begin. {self._refusal}")

    def _ask(self, event: Event) -> None:
        arguments = arguments_of(event, self.sight(), self.scenario.picture)
        try:
            self.daemon.call(event.kind.verb, **_given(arguments))
        except Refused as refused:
            self._refusal = str(refused)
        else:
            self._refusal = None

    def _move(self, event: Event) -> None:
        self.machine.call(event.kind.verb, **event.parameters)

    def _signal(self, event: Event) -> None:
        name, number = _SIGNALS[event.kind.verb]
        if name == _DAEMON:
            self._answers = number is signal.SIGCONT
        self.session.household.send(name, number)

    def _look_at_rows(self) -> str | None:
        frame, rows = self._sheet.picture, self.scenario.picture.rows
        rectangle = (frame.left_mm, frame.bottom_mm, frame.right_mm, frame.top_mm)
        pieces = max(1, round(self._sheet.width_mm / PIECE_MM))
        return amiss(self.machine.call("row_light", rectangle=rectangle, rows=rows, pieces=pieces))


_DOERS: Final[Mapping[Actor, Callable[[ProcessStage, Event], None]]] = {
    Actor.BOARD: ProcessStage._move,
    Actor.MACHINE: ProcessStage._move,
    Actor.CABLE: ProcessStage._move,
    Actor.HOUSE: ProcessStage._move,
    Actor.PROCESS: ProcessStage._signal,
    Actor.PERSON: ProcessStage._ask,
}


def _given(arguments: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in arguments.items() if value is not None}
