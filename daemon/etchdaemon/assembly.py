"""The one place where real and simulated parts are chosen, joined and set going."""

import logging
import os
import signal
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

from etchdaemon.configuration.loading import load_configuration
from etchdaemon.configuration.pin_map import PinMap
from etchdaemon.errors import EtchdaemonError, LogbookUnavailable
from etchdaemon.guard.guard import Guard
from etchdaemon.hardware.clock import PracticeClock, SystemClock
from etchdaemon.hardware.doorbell import EventDoorbell
from etchdaemon.hardware.gpio_board import GpioBoard
from etchdaemon.hardware.gpio_lines import Lines
from etchdaemon.hardware.lgpio_pins import (
    WORKING_FOLDER_NAME,
    is_edge_thread_alive,
    lgpio_factory,
)
from etchdaemon.hardware.looking import looking
from etchdaemon.hardware.no_board import NoBoard
from etchdaemon.hardware.practice_board import PracticeBoard
from etchdaemon.hardware.preflight_child import PreflightChild
from etchdaemon.hardware.rest_child import RestChild
from etchdaemon.hardware.self_check import warnings_of_persistence
from etchdaemon.hardware.serial_port import opener
from etchdaemon.hardware.state_lock import state_lock
from etchdaemon.hardware.synchronisation import is_clock_synchronised
from etchdaemon.hardware.watchdog import Watchdog
from etchdaemon.interlocks.checks.wiring_gaps import watches_only_because
from etchdaemon.interlocks.engine import InterlockEngine
from etchdaemon.interlocks.inputs import Output
from etchdaemon.interlocks.setup import PRACTICE, Setup
from etchdaemon.logbook.logbook import Logbook
from etchdaemon.logbook.logbook_connection import LogbookConnection
from etchdaemon.logbook.practice_logbook import PracticeLogbook
from etchdaemon.logbook.read import recall
from etchdaemon.ports import Board, Clock
from etchdaemon.rpc.dispatcher import Dispatcher
from etchdaemon.service.command_queue import CommandQueue
from etchdaemon.service.job.reentry import Reentry
from etchdaemon.service.job.retained_jobs import retained_jobs
from etchdaemon.service.job.spool import Spool
from etchdaemon.service.link.machine import Machine
from etchdaemon.service.link.measured import MeasuredController
from etchdaemon.service.loop import Service
from etchwire.calls.history import Runs
from etchwire.notification import notify

LOGBOOK_NAME: Final = "logbook.sqlite3"
SPOOL_NAME: Final = "spool"
CLOCK_NAME: Final = "clock"
PORT_NAME: Final = "port"
BOARD_NAME: Final = "board.sock"
CARD_NAME: Final = "card"
PINS_NAME: Final = "pins.json"  # for `etchwarden-safe`
WIND_DOWN_S: Final = 5.0
READY_PATIENCE_S: Final = 5.0
SWITCH_INTERVAL_S: Final = 0.001  # how long another thread may keep the loop waiting

# Tried at twenty times, with the monostable as long as on the wall and three busy processes beside:
# in four minutes it never dropped falsely, but simulated time waits for a busy host, so its contact
# stayed closed for more than half a second and the test of the safety relay failed falsely, twice
# in four etches. So faster practice has no heartbeat.
HONEST_SPEEDUP: Final = 2.0
TOO_FAST_FOR: Final = frozenset({Output.HEARTBEAT, Output.LAMP, Output.BUZZER})

# How many times as often as at a real machine the loop looks. A practice machine that is faster yet
# waits for our lines: looking twenty times as often took a third of a core and gained nothing.
MOST_HURRIED: Final = 4.0

# Seen at forty times: a busy computer kept one of the daemon's threads waiting for 0.3 s, ten
# seconds of the machine's, and an etch on a practice tile ended for it. Nothing burns there.
FAST_STALE_AFTER_S: Final = 2.0

WATCHES_ONLY: Final = "This box only watches and starts nothing. %s"
NO_BOX: Final = "No box configuration is given (--box)."

_log = logging.getLogger("etchdaemon")


@dataclass(frozen=True, slots=True, kw_only=True)
class DaemonPaths:
    """Where the daemon finds and keeps things.

    `practice` is the practice machine's folder, `box` the configuration of the box. A practice box
    begins with invented lasers and recipes, unless it `is_new`.
    """

    port: str
    socket: Path
    state: Path
    practice: Path | None = None
    box: Path | None = None
    is_new: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """The box's board, how and where it is wired, and the bell that its edges ring."""

    board: Board
    bell: EventDoorbell
    setup: Setup
    pins: PinMap | None = None  # where it is read at pins


class Daemon:
    """Every part of the daemon, joined: `run` works until `end`."""

    def __init__(self, paths: DaemonPaths, *, clock: Clock, box: Box) -> None:
        """Join the parts; the guard drives every output off before any file is opened."""
        self._paths = paths
        self._clock = clock
        self._pins = box.pins
        self._doorbell = EventDoorbell()
        self._logbook = Logbook.at(
            paths.state / LOGBOOK_NAME,
            utc_now=clock.utc_now,
            connect=_connection_kind(paths.practice),
            is_clock_synchronised=is_clock_synchronised,
        )
        self._guard = Guard(
            InterlockEngine(box.setup),
            box.board,
            clock,
            wake=self._doorbell.ring,
            ask_for_look=box.bell.ring,
            records=self._logbook,
        )
        self._looking = looking(self._guard.monitor.look, box.bell)
        self._watchdog = Watchdog()
        self._is_ending = False
        spool = Spool(paths.state / SPOOL_NAME, needed=partial(retained_jobs, self._logbook))
        self._reentry = reentry = Reentry(history=self._logbook, spool=spool, rests=RestChild())
        commands = CommandQueue(spool=spool, doorbell=self._doorbell, reentry=reentry)
        practice = paths.practice
        machine = Machine(
            open_port=opener(
                paths.port, practice_port=None if practice is None else practice / PORT_NAME
            ),
            beam=self._guard,
            port_name=paths.port,
        )
        machine.is_practice = practice is not None
        machine.measured = MeasuredController(paths.state)
        self._preflight = PreflightChild(
            self._doorbell, has_heartbeat_contact=Output.HEARTBEAT in box.setup.wired
        )
        self._service = Service(
            machine=machine,
            commands=commands,
            clock=clock,
            records=self._logbook,
            guard=self._guard,
            preflight=self._preflight,
        )
        self._dispatcher = Dispatcher(paths.socket, commands, self._logbook)

    def end(self) -> None:
        """Let `run` return soon; a signal handler may ask for it."""
        self._is_ending = True
        self._doorbell.ring()

    def run(self) -> None:
        """Serve until told to end; then bring the machine to rest and close the books."""
        sys.setswitchinterval(SWITCH_INTERVAL_S)
        with ExitStack() as parts:
            parts.callback(self._guard.close)
            parts.enter_context(self._looking)
            parts.callback(self._service.close)
            parts.callback(self._preflight.close)
            parts.enter_context(self._dispatcher)  # first: it sets its own umask
            parts.enter_context(self._logbook)
            if self._paths.practice is not None and not self._paths.is_new:
                self._logbook.introduce_practice()
            with suppress(LogbookUnavailable):
                self._recall_box()
            self._service.recall(self._reentry.newest())
            with suppress(LogbookUnavailable):
                self._service.recall_origin(self._logbook.recall(recall.last_origin))
            with suppress(LogbookUnavailable):
                for run in self._logbook.ask(Runs(limit=1)).runs:
                    self._service.recall_end(run)
            notify("READY=1", patience_s=READY_PATIENCE_S)  # said once, and nothing burns yet
            try:
                self._serve(lambda: not self._is_ending)
            except BaseException:  # closing takes a while, and the beam must not wait for it
                self._guard.cut()
                _log.exception("The daemon met a fault of its own and ends.")
                raise
            notify("STOPPING=1")
            self._service.wind_down()
            until_s = time.monotonic() + WIND_DOWN_S
            self._serve(lambda: self._service.is_under_way and time.monotonic() < until_s)

    def _recall_box(self) -> None:
        """Tell the guard what was seen of the box in earlier lives; raise LogbookUnavailable.

        Proofs are asked for where the inputs have other pins than before, or before is not known.
        """
        tests = self._guard.contact_tests
        tests.recall_proofs(self._logbook.recall(recall.proofs))
        tests.recall_relay_test(self._logbook.recall(recall.last_relay_test))
        if self._pins is None:
            return
        inputs_json, last_map = self._pins.inputs_json(), self._logbook.recall(recall.last_pin_map)
        if last_map is None or last_map.inputs_json != inputs_json:
            self._logbook.note_pins(inputs_json)
            last_map = recall.PinMap(inputs_json=inputs_json, is_first=last_map is None, proven=())
        tests.demand_proofs(last_map.proven, is_required=not last_map.is_first)

    def _serve(self, goes_on: Callable[[], bool]) -> None:
        wall_per_machine = 1 / min(self._clock.seconds_per_wall_second, MOST_HURRIED)
        while goes_on():
            self._service.step()
            self._watchdog.feed(time.monotonic(), looks=self._guard.monitor.looks)
            self._doorbell.wait(self._service.patience_s * wall_per_machine)


def _connection_kind(practice: Path | None) -> Callable[..., LogbookConnection]:
    return (
        LogbookConnection
        if practice is None
        else partial(PracticeLogbook, card=practice / CARD_NAME)
    )


def _practice_parts(folder: Path, box: Path | None) -> tuple[Clock, Box]:
    setup = PRACTICE if box is None else load_configuration(box, is_practice=True).setup
    bell = EventDoorbell()
    board = PracticeBoard(folder / BOARD_NAME, bell)
    clock = PracticeClock(folder / CLOCK_NAME, seconds_per_wall_second=board.speedup)
    board.take_time_from(clock)
    if board.speedup > HONEST_SPEEDUP:
        setup = replace(setup, wired=setup.wired - TOO_FAST_FOR, stale_after_s=FAST_STALE_AFTER_S)
    return clock, Box(board=board, bell=bell, setup=setup)


def real_parts(paths: DaemonPaths, *, lines: Lines | None = None) -> tuple[Clock, Box]:
    """Return the system's clock and the box on its pins; raise BoardLost, FaultyConfiguration.

    Without a configuration, or with no lid in it, nothing can ever be armed.
    """
    clock, bell = SystemClock(), EventDoorbell()
    if paths.box is None:
        _log.warning(WATCHES_ONLY, NO_BOX)
        return clock, Box(board=NoBoard(), bell=bell, setup=Setup(wired=frozenset()))
    configuration = load_configuration(paths.box)
    for sentence in warnings_of_persistence():
        _log.warning(sentence)
    if (because := watches_only_because(configuration.setup.wired)) is not None:
        _log.warning(WATCHES_ONLY, because)
    pins = configuration.pins
    if not pins.inputs and not pins.outputs:
        return clock, Box(board=NoBoard(), bell=bell, setup=configuration.setup)
    folder = Path(os.environ.get(WORKING_FOLDER_NAME, paths.state))
    pins.write(folder / PINS_NAME)
    board = GpioBoard(
        pins,
        lgpio_factory(pins.chip_label, working_folder=folder, lines=lines),
        clock=clock,
        doorbell=bell,
        is_edge_thread_alive=is_edge_thread_alive,
    )
    return clock, Box(board=board, bell=bell, setup=configuration.setup, pins=pins)


def run_daemon(paths: DaemonPaths) -> int:
    """Run the daemon in this thread until SIGTERM or SIGINT; return the exit code.

    Raise StateTaken, before any pin is touched, where another daemon keeps its records.
    """
    with state_lock(paths.state):
        return _run_locked(paths)


def _run_locked(paths: DaemonPaths) -> int:
    practice = paths.practice
    clock, box = _practice_parts(practice, paths.box) if practice else real_parts(paths)
    daemon = Daemon(paths, clock=clock, box=box)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: daemon.end())
    try:
        daemon.run()
    except EtchdaemonError:
        raise
    except Exception:  # noqa: BLE001 - the log has it; the service manager starts us again
        return 1
    return 0
