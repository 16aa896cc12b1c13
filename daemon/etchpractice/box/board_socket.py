"""The practice board on a Unix socket, for the daemon: lines of text, one client at a time.

The machine says at once, and again whenever it is sent `get`:

    speedup 20
    input lid 1
    ...                     one line for each input
    ready

and after that `input NAME 0` or `input NAME 1` whenever one changes; `level NAME 0` is one that
only who polls would see, and `input NAME missing` or `input NAME stale` one whose level does not
count. `followed beam_enable` says, after the inputs that changed by it, that the beam's contact has
been set: until then the loop's level is of before. `library FAULT …` names what the client is to do
wrong from now on in reading, as a library for pins might: `reading_hangs`, `edges_fail`,
`edges_lost`, `beam_pin_dead`, or nothing. The client
says

    set NAME 0              or 1; NAME is an output
    get

and gets `error SENTENCE` for anything else. Inputs read as contacts: 1 is closed, and for every
guard closed is safe. The names are those of `etchpractice.box.board`. When the client leaves, every
output falls to 0.
"""

import select
import socket
from contextlib import suppress
from pathlib import Path
from typing import Final

from etchpractice.box.board import BEAM_CONTACT, Board, UnknownContact

_LONGEST_BYTES: Final = 4096
_LEVELS: Final = {"0": False, "1": True}


class BoardSocket:
    """Serves a board; its descriptors are waited on by the process's one loop."""

    def __init__(self, path: Path, board: Board, *, speedup: float) -> None:
        self._board = board
        self._speedup = speedup
        self._path = path
        self._client: socket.socket | None = None
        self._listener: socket.socket | None = None
        self._unread = bytearray()
        self._told_faults = board.library_faults
        self._unconfirmed = 0  # how often the beam's contact was set and that is not yet told
        self.plug_in()

    def plug_in(self) -> None:
        """Let clients come."""
        if self._listener is not None:
            return
        self._path.unlink(missing_ok=True)
        self._listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._listener.bind(str(self._path))
        self._listener.listen(4)
        self._listener.setblocking(False)

    def unplug(self) -> None:
        """Part from the client and remove the socket."""
        self._drop()
        if self._listener is not None:
            self._listener.close()
        self._listener = None
        self._path.unlink(missing_ok=True)

    def waits_for(self) -> list[socket.socket]:
        """Return the sockets on which something may come."""
        return [one for one in (self._listener, self._client) if one is not None]

    def hear(self) -> bool:
        """Take what has come; return whether the client said anything."""
        self._admit()
        if self._client is None:
            return False
        try:
            data = self._client.recv(_LONGEST_BYTES)
        except BlockingIOError:
            return False
        except OSError:
            data = b""
        if not data or len(self._unread) > _LONGEST_BYTES:
            self._drop()
            return True
        self._unread += data
        while b"\n" in self._unread:
            line, _, rest = bytes(self._unread).partition(b"\n")
            self._unread[:] = rest
            self._obey(line.decode("ascii", "replace").split())
        return True

    def tell(self) -> bool:
        """Send the inputs that have changed; return whether there were any."""
        changes, self._board.changes = self._board.changes, []
        if self._board.library_faults != self._told_faults:
            self._send(f"{self._faults()}\n")
        if self._client is None:
            return False
        lines = []
        word = "input" if self._board.tells_edges else "level"
        for name, level in changes:
            at_s = self._board.changed_at_s.get(name, self._board.now_s)
            # It is told after the turn in which it changed, and heard later still.
            lines += [f"at {at_s:.6f}", f"{word} {name} {self._told(name, level)}"]
        lines += [f"followed {BEAM_CONTACT}"] * self._unconfirmed
        self._unconfirmed = 0
        if lines:
            self._send("\n".join([*lines, ""]))
        return bool(changes)

    def _admit(self) -> None:
        if self._listener is None:
            return
        with suppress(BlockingIOError):
            client, _ = self._listener.accept()
            if self._client is not None and not _has_left(self._client):
                with client, suppress(OSError):
                    client.sendall(b"error the board has a client already\n")
                return
            self._drop()  # one that was killed, and whose end has not been read yet
            client.setblocking(False)
            self._client = client
            self._unread.clear()
            self._unconfirmed = 0
            self._board.connect()
            self._tell_all()

    def _obey(self, words: list[str]) -> None:
        match words:
            case ["get"]:
                self._tell_all()
            case ["set", name, level] if level in _LEVELS:
                try:
                    self._board.set_output(name, _LEVELS[level])
                    self._unconfirmed += name == BEAM_CONTACT
                except UnknownContact as error:
                    self._send(f"error {error}\n")
            case _:
                self._send("error say: set NAME 0, set NAME 1 or get\n")

    def _tell_all(self) -> None:
        self._board.changes.clear()
        lines = [f"speedup {self._speedup:g}"]
        levels = self._board.inputs().items()
        lines += [f"input {name} {self._told(name, level)}" for name, level in levels]
        self._send("\n".join([*lines, self._faults(), "ready", ""]))

    def _faults(self) -> str:
        self._told_faults = self._board.library_faults
        return " ".join(["library", *sorted(self._told_faults)])

    def _told(self, name: str, level: bool) -> str:
        return self._board.doubts.get(name) or f"{level:d}"

    def _send(self, text: str) -> None:
        if self._client is not None:
            try:
                self._client.sendall(text.encode())
            except OSError:  # gone, or it reads nothing: both are a board without a daemon
                self._drop()

    def _drop(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
            self._board.disconnect()


def _has_left(client: socket.socket) -> bool:
    poll = select.poll()
    poll.register(client, select.POLLRDHUP)
    return bool(poll.poll(0))
