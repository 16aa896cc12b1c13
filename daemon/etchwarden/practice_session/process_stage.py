"""Where a scenario is played on real processes: their sockets, their signals, their files."""

import signal
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import click

from etchpractice.machine_state import MachineState
from etchpractice.scenario.events import Actor, Event
from etchpractice.scenario.observation import Observation
from etchpractice.scenario.people import arguments_of
from etchpractice.scenario.rows import PIECE_MM, amiss
from etchpractice.scenario.script import Scenario, Step
from etchwarden.practice_session.scenario_alerts import ScenarioAlerts
from etchwarden.practice_session.session import Session
from etchwarden.practice_session.watching_phone import WatchingPhone
from etchwire.calls.call import Call
from etchwire.calls.client import DaemonClient
from etchwire.calls.history import Runs
from etchwire.calls.json_values import from_json_value
from etchwire.calls.machine import MACHINE_CALLS, Status
from etchwire.errors import DaemonAbsent, Refused
from etchwire.sheet import Sheet, read_sheet
from etchwire.transport.line_client import LineClient

_LOOK_EVERY_S: Final = 0.02  # a look costs machine and daemon a millisecond each
_DAEMON: Final = "daemon"
_SIGNALS: Final[Mapping[str, tuple[str, signal.Signals]]] = {
    "kill_daemon": (_DAEMON, signal.SIGKILL),
    "stop_daemon": (_DAEMON, signal.SIGSTOP),
    "continue_daemon": (_DAEMON, signal.SIGCONT),
    "kill_page": ("page", signal.SIGKILL),
}
CALLS: Final[Mapping[str, type[Call[object]]]] = {kind.method(): kind for kind in MACHINE_CALLS}
_DAMAGE: Final = b"\xff" * 4096


@dataclass(slots=True)
class ProcessStage:
    """A Stage over the sockets of a session whose processes run."""

    scenario: Scenario
    session: Session
    machine: LineClient
    daemon: DaemonClient = field(init=False)
    _answers: bool = True  # whether the daemon can be asked
    _refusal: str | None = None
    _sheet: Sheet = field(init=False)
    _phone: WatchingPhone | None = None
    _alerts: ScenarioAlerts | None = None

    def __post_init__(self) -> None:
        """Read what was promised, and put it on the bench."""
        self._sheet = read_sheet(self.session.job)
        self.daemon = self.session.ask_daemon()
        self.session.set_origin(self.daemon)
        self.put_on_bench()
        if self.scenario.reads_alerts:
            self._alerts = ScenarioAlerts(self.session.socket, self.session.folder / "alerts")

    def close(self) -> None:
        """Part from the daemon."""
        if self._alerts is not None:
            self._alerts.close()
        self.daemon.close()

    def observe(self) -> Observation:
        """Return what is seen now; raise ClickException where a process is missed."""
        self.session.processes.require_all()
        return Observation(
            machine=from_json_value(self.machine.call("state"), MachineState),
            status=self.daemon.ask(Status()) if self._answers else None,
            refusal=self._refusal,
            look_at_rows=self._look_at_rows,
            look_at_tile=self._look_at_tile,
            look_at_notes=self._look_at_notes,
            look_at_alerts=lambda: () if self._alerts is None else tuple(self._alerts.sent_texts),
        )

    def do(self, event: Event) -> None:
        """Let `event` happen."""
        _DOERS[event.kind.actor](self, event)

    def let_time_pass(self) -> None:
        """Wait a moment of the wall's: the machine's time goes by itself."""
        time.sleep(_LOOK_EVERY_S)

    def take(self, step: Step) -> None:
        """Wait until `step` is offered and do it; raise ClickException when it is refused."""
        self.session.processes.wait_until(lambda: step.moment.offered in self.observe().may)
        if step.event is not None:
            self.do(step.event)
        if self._refusal is not None:
            raise click.ClickException(f"The etch cannot begin. {self._refusal}")

    # What happens

    def start_daemon(self, box: str | None = None, port: str | None = None) -> None:
        """Start the daemon, its box wired as the text says; it may end for a reason it names."""
        self.session.launch_daemon(None if box is None else self.session.keep_box(box), port)
        self._refusal = self.session.processes.wait_for_end_or(_DAEMON, self._reach_daemon)
        self._answers = self._refusal is None

    def put_on_bench(self) -> None:
        """Hand the daemon the picture."""
        self.session.load(self.daemon)

    def damage_logbook(self) -> None:
        """Write over the beginning of the logbook's file."""
        from etchdaemon.assembly import LOGBOOK_NAME  # noqa: PLC0415 - most scenarios do without

        with (self.session.records / LOGBOOK_NAME).open("rb+") as file:
            file.write(_DAMAGE)

    def _reach_daemon(self) -> bool:
        try:
            daemon = self.session.ask_daemon()
        except DaemonAbsent:
            return False
        self.daemon.close()
        self.daemon = daemon
        return True

    def _ask(self, event: Event) -> None:
        arguments = arguments_of(event, self.observe(), self.scenario.picture)
        given = {name: value for name, value in arguments.items() if value is not None}
        try:
            self.daemon.ask(from_json_value(given, CALLS[event.kind.verb]))
        except Refused as refused:
            self._refusal = str(refused)
        else:
            self._refusal = None

    def _press(self, event: Event) -> None:
        if self._phone is None:
            self._phone = WatchingPhone(self.session.page)
        self._refusal = self._phone.press(str(event.parameters["button"]))

    def _move(self, event: Event) -> None:
        self.machine.call(event.kind.verb, **event.parameters)

    def _handle_program(self, event: Event) -> None:
        getattr(self, event.kind.verb)(**event.parameters)

    def _signal(self, event: Event) -> None:
        name, number = _SIGNALS[event.kind.verb]
        if name == _DAEMON:
            self._answers = number is signal.SIGCONT
        self.session.processes.send(name, number)

    # What is seen

    def _look_at_rows(self) -> str | None:
        pieces, rows = max(1, round(self._sheet.width_mm / PIECE_MM)), self.scenario.picture.rows
        return amiss(
            self.machine.call("row_light", rectangle=self._rectangle, rows=rows, pieces=pieces)
        )

    def _look_at_tile(self) -> list[str]:
        words: list[str] = self.machine.call("what_is_wrong", rectangle=self._rectangle)
        return words

    @property
    def _rectangle(self) -> tuple[float, float, float, float]:
        frame = self._sheet.picture
        return frame.left_mm, frame.bottom_mm, frame.right_mm, frame.top_mm

    def _look_at_notes(self) -> list[str]:
        if not self._answers:
            return []
        return [note.text for note in self.daemon.ask(Runs(limit=1)).notes]


_DOERS: Final[Mapping[Actor, Callable[[ProcessStage, Event], None]]] = {
    Actor.BOARD: ProcessStage._move,
    Actor.MACHINE: ProcessStage._move,
    Actor.CABLE: ProcessStage._move,
    Actor.HOUSE: ProcessStage._move,
    Actor.CARD: ProcessStage._move,
    Actor.PROCESS: ProcessStage._signal,
    Actor.PROGRAM: ProcessStage._handle_program,
    Actor.PERSON: ProcessStage._ask,
    Actor.PHONE: ProcessStage._press,
}
