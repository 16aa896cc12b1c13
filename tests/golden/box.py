"""The whole daemon in memory behind its own socket: what it answers, byte for byte."""

import json
import socket
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from etchdaemon.rpc.dispatcher import Dispatcher
from etchdaemon.service.link.measured import MeasuredController
from etchwire.calls.machine import Unfinished
from etchwire.sheet import GCODE_NAME, SHEET_NAME
from golden.wire_text import normalised
from rig.guarded import GuardedRig
from support.harnesses.logbooks import LONG_S, NamedLogbook


@dataclass(frozen=True)
class Exchange:
    """One call and the line that answers it."""

    when: str
    params: dict[str, Any]
    line: str

    def as_table(self) -> dict[str, Any]:
        """Return it as its file holds it."""
        return {"when": self.when, "params": self.params, "reply": json.loads(self.line)}


class SteppedOperator:
    """An Operator whose loop is stepped, in the caller's thread, until there is an answer."""

    def __init__(self, box):
        self._box = box

    def snapshot(self):
        return self._box.commands.snapshot()

    def request(self, call):
        if isinstance(call, Unfinished):
            return self._box.commands.request(call)
        request = self._box.commands.submit(call)
        self._box.wait_until(lambda: request.is_answered)
        return request.answer(0)

    def call_on_change(self, _listener):
        """Nobody listens: each snapshot is asked for."""


class PlainClient:
    """Writes and reads lines at a Unix socket, by nothing of ours."""

    def __init__(self, path: Path):
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.settimeout(LONG_S)
        self._socket.connect(str(path))
        self._lines = self._socket.makefile("rb")
        self.greeting = self.call("hello", {"protocol": 1})

    def call(self, method: str, params: dict[str, Any], files: tuple[int, ...] = ()) -> bytes:
        """Return the line that answers."""
        message = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        line = json.dumps(message).encode() + b"\n"
        if files:
            socket.send_fds(self._socket, [line], files)
        else:
            self._socket.sendall(line)
        return self._lines.readline()

    def close(self):
        self._lines.close()
        self._socket.close()


class GoldenBox(GuardedRig):
    """A guarded rig with a real logbook and socket.

    It notes every exchange, and the snapshots that it is told to.
    """

    def __init__(self, folder: Path, machine=None):
        self.exchanges: dict[str, list[Exchange]] = {}
        self.snapshots: dict[str, str] = {}
        super().__init__(folder, machine)
        self._desk = Dispatcher(folder / "socket", SteppedOperator(self), self.logbook)
        self._desk.start()
        self._client = PlainClient(folder / "socket")

    def make_records(self):
        self.logbook = NamedLogbook.with_practice(self.folder, self.clock)
        return self.logbook

    def make_machine(self):
        machine = super().make_machine()
        machine.is_practice = True
        machine.measured = MeasuredController(self.folder)
        return machine

    def __exit__(self, *_):
        self._client.close()
        self._desk.stop()
        super().__exit__()
        self.logbook.close()

    def call(self, method: str, *, when: str = "", files: tuple[int, ...] = (), **params: Any):
        """Ask as a client would, and note the answer; return its result, None where refused."""
        when = when or self.state
        return self._note(method, params, when, self._client.call(method, params, files))

    def subscribe(self) -> None:
        """Ask for what follows, on a connection of its own: notifications come when they like."""
        client = PlainClient(self.folder / "socket")
        self._note("subscribe", {}, self.state, client.call("subscribe", {}))
        client.close()

    def _note(self, method: str, params: dict[str, Any], when: str, answer: bytes) -> Any:
        exchange = Exchange(when, params, normalised(answer))
        self.exchanges.setdefault(method, []).append(exchange)
        return json.loads(exchange.line).get("result")

    def hand_in(self, folder: Path, when: str = "") -> None:
        """Load the job in `folder`."""
        with (folder / GCODE_NAME).open("rb") as gcode, (folder / SHEET_NAME).open("rb") as sheet:
            self.call("load", when=when, files=(gcode.fileno(), sheet.fileno()))

    def note_snapshot(self, name: str) -> None:
        """Note the snapshot that is shown now."""
        assert name not in self.snapshots, f"{name} twice"
        self.snapshots[name] = normalised(self._client.call("status", {}))

    def can(self, command: str) -> None:
        """Wait until `command` may be asked for."""
        self.wait_until(lambda: command in self.may)

    def come_to_rest(self) -> None:
        """Wait until the head stands and the controller answers."""
        self.wait_until(lambda: not self.commands.snapshot().machine.is_moving)
        self.get_ready()
