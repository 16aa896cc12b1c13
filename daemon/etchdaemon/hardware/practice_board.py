"""The practice machine's board, over its socket.

Lines of text: the board says `speedup N`, `input NAME 0|1` for every input and then `ready`, and
after that, at every change, `at SECONDS` of the machine's time and `input NAME 0|1` (1 is closed);
we say `set NAME 0|1`, and of the beam's contact are told `followed beam_enable` once the inputs are
those behind it. When we leave, every output of it falls. `level NAME 0|1` stands for a change
without an edge, `input NAME missing|stale` for an input that is not read, or not any more. What
stands here for a library that reads pins does wrong what `library FAULT …` says.
"""

import socket
import threading
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from etchdaemon.errors import BoardLost
from etchdaemon.hardware.opened import EDGES_LOST, OpenedInputs
from etchdaemon.interlocks.clocks import Edge, MachineSeconds, WallSeconds
from etchdaemon.interlocks.inputs import Input, Level, Output
from etchdaemon.ports import Clock, Doorbell

_PATIENCE_S: Final = 5.0
_AGAIN_EVERY_S: Final = 1.0
_READ_BYTES: Final = 4096
_HANGING_S: Final = 0.01
_NAMES: Final = {name.value: name for name in Input}


class PracticeBoard:
    """A Board whose edges arrive on a thread of its own.

    `speedup` is how fast the practice machine means to run. An input has been read whenever the
    connection stands, unless the board says otherwise: it tells of every change. Only the loop is
    as old as the first change of the beam's contact that the board has not followed yet: a machine
    that a busy computer keeps waiting is no welded contact.
    """

    def __init__(self, path: Path, doorbell: Doorbell) -> None:
        """Connect and wait for the first levels; raise BoardLost."""
        self.speedup = 1.0
        self._path = path
        self._clock: Clock | None = None
        self._opened = OpenedInputs(doorbell)
        self._lock = threading.Lock()
        self._closed: dict[Input, bool] = {}
        self._stale_since_s: dict[Input, WallSeconds] = {}
        self._unfollowed_since_s: list[WallSeconds] = []  # changes of the beam's contact
        self._faults: Sequence[str] = ()
        self._changed_at_s: float | None = None
        self._is_ready = threading.Event()
        self._is_closing = False
        self._again_at_s = 0.0
        self._connect()
        if not self._is_ready.wait(_PATIENCE_S):
            self.close()
            raise BoardLost(f"The practice machine's board {path} does not answer.")

    def take_time_from(self, clock: Clock) -> None:
        """Date by this clock; how fast it runs is known once the board has answered."""
        self._clock = clock

    @property
    def trouble(self) -> str | None:
        """A sentence where edges are no longer reported, else None."""
        return EDGES_LOST if "edges_lost" in self._faults else None

    def read(self) -> Mapping[Input, Level]:
        """Return the levels as last told; raise BoardLost when nobody tells any more.

        Another practice machine may come to stand where the lost one stood: it is looked for
        every second.
        """
        while "reading_hangs" in self._faults and not self._is_closing:
            time.sleep(_HANGING_S)
        if not self._is_ready.is_set():
            self._look_again()
            raise BoardLost("The practice machine's board is gone.")
        with self._lock:
            now_s = self._wall_s()
            since_s = {Input.LOOP_CLOSED: min(self._unfollowed_since_s, default=now_s)}
            since_s |= self._stale_since_s
            return {
                name: Level(is_closed, since_s.get(name, now_s))
                for name, is_closed in self._closed.items()
            }

    def take_opened(self) -> Mapping[Input, Edge]:
        """Return the inputs that the board told of opening."""
        if "edges_fail" in self._faults:
            raise RuntimeError("The practice board was told to fail here.")
        return self._opened.take()

    def set(self, output: Output, *, is_on: bool) -> None:
        """Drive an output; raise BoardLost."""
        if output is Output.BEAM_ENABLE and not is_on and "beam_pin_dead" in self._faults:
            raise BoardLost("The practice board was told that this pin is dead.")
        if output is Output.BEAM_ENABLE:
            with self._lock:
                self._unfollowed_since_s.append(self._wall_s())
        try:
            self._socket.sendall(f"set {output.value} {int(is_on)}\n".encode())
        except OSError as error:
            raise BoardLost("The practice machine's board is gone.") from error

    def close(self) -> None:
        """Leave; the board lets every output fall."""
        self._is_closing = True
        self._hang_up(self._socket)

    def _look_again(self) -> None:
        wall_s = time.monotonic()
        if wall_s < self._again_at_s or self._is_closing:
            return
        self._again_at_s = wall_s + _AGAIN_EVERY_S
        self._hang_up(self._socket)
        self._connect()

    def _connect(self) -> None:
        board = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            board.connect(str(self._path))
        except OSError as error:
            board.close()
            raise BoardLost(f"The practice machine's board {self._path} is not there.") from error
        self._socket = board
        with self._lock:
            self._unfollowed_since_s.clear()
        arguments = (board,)
        threading.Thread(target=self._listen, args=arguments, name="board", daemon=True).start()

    def _listen(self, board: socket.socket) -> None:
        unread = b""
        with suppress(OSError):  # the end of the connection, one way or another
            while data := board.recv(_READ_BYTES):
                *lines, unread = (unread + data).split(b"\n")
                for line in lines:
                    self._hear(line.decode("ascii", "replace").split())
        if board is self._socket:
            self._is_ready.clear()

    def _hear(self, words: list[str]) -> None:
        match words:
            case ["input" | "level", name, "missing" | "stale" as doubt] if name in _NAMES:
                self._note_doubt(_NAMES[name], is_missing=doubt == "missing")
            case ["input" | "level" as word, name, level] if name in _NAMES:
                self._note(_NAMES[name], is_closed=level == "1", is_edge=word == "input")
            case ["at", seconds]:
                self._changed_at_s = float(seconds)
            case ["followed", Output.BEAM_ENABLE.value]:
                self._note_followed()
            case ["speedup", number]:
                self.speedup = float(number)
            case ["library", *faults]:
                self._faults = faults
            case ["ready"]:
                self._is_ready.set()

    def _note_followed(self) -> None:
        with self._lock:
            del self._unfollowed_since_s[:1]

    def _note_doubt(self, name: Input, *, is_missing: bool) -> None:
        with self._lock:
            if is_missing:
                self._closed.pop(name, None)
            else:
                self._stale_since_s.setdefault(name, self._wall_s())

    def _note(self, name: Input, *, is_closed: bool, is_edge: bool) -> None:
        with self._lock:
            self._closed[name] = is_closed
            self._stale_since_s.pop(name, None)
        if is_edge and not is_closed:
            now_s = self._now_s()
            changed_at_s = now_s if self._changed_at_s is None else self._changed_at_s
            machine_s = MachineSeconds(min(changed_at_s, now_s))
            self._opened.note(name, Edge(self._wall_s(), machine_s))

    def _now_s(self) -> float:
        return self._clock.now_s() if self._clock is not None else 0.0

    def _wall_s(self) -> WallSeconds:
        return WallSeconds(0.0) if self._clock is None else self._clock.wall_s()

    @staticmethod
    def _hang_up(board: socket.socket) -> None:
        with suppress(OSError):  # it may have gone first
            board.shutdown(socket.SHUT_RDWR)
        board.close()
