"""The practice machine as a process: one loop between pseudo-terminal, board and time.

In its folder it makes `port` (a link to the terminal), `clock` (etchwire.simulated_time),
`board.sock` (see board_socket) and `control.sock` (see control), and takes them away again. While
the card under the daemon's logbook is spoilt, a file `card` says how.
"""

import fcntl
import math
import os
import select
import signal
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchpractice.box.board_socket import BoardSocket
from etchpractice.control import Control, Errands
from etchpractice.link.cable import Cable
from etchpractice.link.pty_port import PtyPort
from etchpractice.machine import PracticeMachine
from etchpractice.machine_state import MachineState
from etchpractice.paced_machine import PacedMachine
from etchpractice.pacing import MOST_PACED
from etchwire.calls.json_values import to_json_value
from etchwire.simulated_time import SimulatedTime
from etchwire.storing import write_whole
from etchwire.transport.handlers import Handlers
from etchwire.transport.json_text import JsonTable
from etchwire.transport.server import LineServer

PORT_NAME: Final = "port"
CLOCK_NAME: Final = "clock"
BOARD_NAME: Final = "board.sock"
CONTROL_NAME: Final = "control.sock"
CARD_NAME: Final = "card"

_BUSY_WAIT_S: Final = 0.002  # of the machine's, as a USB adapter gathers bytes; a wake-up is dear
_LEAST_BUSY_WAIT_S: Final = 0.0005  # the host's lines end a wait at once
_IDLE_WAIT_S: Final = 0.004
_LOOK_AROUND_S: Final = 0.5
_PARTING_S: Final = 0.2
_DAY_S: Final = 86_400


class FolderInUse(OSError):
    """The folder is another practice machine's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """How the process is to run."""

    folder: Path
    speedup: float = 1.0
    boot_s: float = 0.5  # from the opening of the port to the greeting


class PracticeProcess:
    """Gives a practice machine a port, a board, a clock and somebody to ask."""

    def __init__(self, machine: PracticeMachine, terms: Terms) -> None:
        self._machine = machine
        self._terms = terms
        self._paced = PacedMachine(machine, terms.speedup)
        pace = min(terms.speedup, MOST_PACED)
        machine.board.press_s *= pace  # a hand has the wall's time
        machine.board.heartbeat_s *= pace  # and so has the daemon, whose beats it waits for
        self._errands = Errands()
        self._parent = os.getppid()
        self._ends_at_s = math.inf
        self._looked_at_s = 0.0

    def run(self) -> None:
        """Serve until told to end, by signal, by `shutdown` or by the parent's death."""
        folder = self._terms.folder
        folder.mkdir(parents=True, exist_ok=True)
        with ExitStack() as parts:
            parts.callback(self._errands.close)
            parts.enter_context(_claim(folder))
            self._port = PtyPort(folder / PORT_NAME)
            parts.callback(self._port.unplug)
            parts.callback(self.spoil_card, None)
            self._cable = Cable(self._machine, self._port, boot_s=self._terms.boot_s)
            clock_path = folder / CLOCK_NAME
            self._clock = parts.enter_context(SimulatedTime.create(clock_path))
            parts.callback(clock_path.unlink, missing_ok=True)
            self._board = BoardSocket(
                folder / BOARD_NAME, self._machine.board, speedup=self._terms.speedup
            )
            parts.callback(self._board.unplug)
            control = Control(self._machine, self, self._cable, self._errands)
            handlers = Handlers(
                answer=control.answer, greeting={"practice": True, "speedup": self._terms.speedup}
            )
            for number in (signal.SIGTERM, signal.SIGINT):
                signal.signal(number, lambda *_: self._end_at(0.0))
            parts.enter_context(LineServer(folder / CONTROL_NAME, handlers))
            while time.monotonic() < self._ends_at_s:
                self._turn()

    # Verbs of the process

    def shutdown(self) -> None:
        """End soon, but not before this has been answered."""
        self._end_at(time.monotonic() + _PARTING_S)

    def _end_at(self, wall_s: float) -> None:
        self._ends_at_s = min(self._ends_at_s, wall_s)
        self._errands.ring()

    def unplug_board(self) -> None:
        """Let the box's board fall away: nobody answers there."""
        self._board.unplug()

    def plug_in_board(self) -> None:
        """Let the board be there again."""
        self._board.plug_in()

    def turn_wall_clock(self, days: int) -> None:
        """Let the wall's clock, as the daemon reads it, jump."""
        self._clock.wall_ahead_s += days * _DAY_S

    def spoil_card(self, how: str | None) -> None:
        """Let the card under the logbook be `full`, or `stuck`; None mends it."""
        card = self._terms.folder / CARD_NAME
        if how is None:
            card.unlink(missing_ok=True)
        else:
            write_whole(card, how)

    def state(self) -> JsonTable:
        """Return what an onlooker sees, as `MachineState`'s JSON values."""
        table: JsonTable = to_json_value(
            MachineState.of(self._machine, speedup=self._terms.speedup)
        )
        return table

    # The loop

    def _turn(self) -> None:
        wall_s = time.monotonic()
        self._wait(self._paced.patience_left_s(wall_s))
        wall_s = time.monotonic()
        self._look_around(wall_s)
        self._hear()
        self._errands.run_waiting()
        self._paced.advance(wall_s)
        self._clock.now_s = self._machine.now_s  # who hears a reply knows when it was sent
        self._tell()

    def _wait(self, patience_s: float) -> None:
        if patience_s <= 0:
            patience_s = self._pause_s()
        board = [one.fileno() for one in self._board.waits_for()]
        sources = [self._errands.fileno(), *board, *self._port.waits_for()]
        select.select(sources, [], [], patience_s)

    def _pause_s(self) -> float:
        """Return how long to sleep between two steps: the pace decides, and the work."""
        if not self._paced.has_work:
            return _IDLE_WAIT_S
        if self._terms.speedup > MOST_PACED:
            return 0.0
        return max(_BUSY_WAIT_S / self._terms.speedup, _LEAST_BUSY_WAIT_S)

    def _look_around(self, wall_s: float) -> None:
        self._cable.look()
        if wall_s - self._looked_at_s >= _LOOK_AROUND_S:
            self._looked_at_s = wall_s
            if os.getppid() != self._parent:
                self._end_at(wall_s)

    def _hear(self) -> None:
        has_box_heard, data = self._board.hear(), self._cable.hear()
        if has_box_heard or data:
            self._paced.note_received(data)

    def _tell(self) -> None:
        was_box_changed, data = self._board.tell(), self._cable.tell()
        if was_box_changed or data:
            self._paced.note_sent(time.monotonic(), data)


@contextmanager
def _claim(folder: Path) -> Iterator[None]:
    """Keep `folder` to ourselves; raise FolderInUse when another machine is in it."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(descriptor)
        raise FolderInUse(f"another practice machine runs in {folder}: choose another") from None
    try:
        yield
    finally:
        os.close(descriptor)
