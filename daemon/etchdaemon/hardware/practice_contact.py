"""The beam enable's contact on the practice board, over the board's socket."""

import socket
from contextlib import suppress
from pathlib import Path
from typing import Final

from etchdaemon.errors import PortLost

_GREETING_PATIENCE_S: Final = 5.0
_READ_BYTES: Final = 4096


class PracticeContact:
    """Closes and opens the practice machine's beam enable; the board opens it when we are gone."""

    def __init__(self, path: Path) -> None:
        """Connect; raise PortLost when there is no practice board."""
        self._path = path
        self._socket, self.speedup = self._connect()

    def allow(self) -> None:
        """Close the contact; raise PortLost when the board is gone."""
        try:
            self._set(1)
        except OSError as error:
            raise PortLost("The practice machine's board is gone.") from error

    def cut(self) -> None:
        """Open the contact; a board that is gone has opened it."""
        with suppress(OSError):
            self._set(0)

    def _set(self, level: int) -> None:
        with suppress(BlockingIOError):  # what the board tells of its inputs is not needed here
            while self._socket.recv(_READ_BYTES):
                pass
        self._socket.sendall(f"set beam_enable {level}\n".encode())

    def _connect(self) -> tuple[socket.socket, float]:
        board = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            board.settimeout(_GREETING_PATIENCE_S)
            board.connect(str(self._path))
            told = b""
            while b"ready\n" not in told:
                if not (data := board.recv(_READ_BYTES)):
                    raise ConnectionResetError  # it has another client
                told += data
        except OSError as error:
            board.close()
            raise PortLost(f"The practice machine's board {self._path} is not there.") from error
        board.setblocking(False)
        speedups = [line.split()[1] for line in told.decode().splitlines() if line[:7] == "speedup"]
        return board, float(speedups[0]) if speedups else 1.0
