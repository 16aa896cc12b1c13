"""The serial line: pyserial opens it, the operating system's own calls move the bytes.

Everything foreign that can go wrong with it comes out as PortLost, from here and nowhere else.
"""

import errno
import fcntl
import os
import termios
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

import serial

from etchdaemon.errors import PortLost

BAUD: Final = 115200
READ_BYTES: Final = 4096
_PSEUDO_TERMINALS: Final = range(136, 144)  # major numbers; Linux's admin-guide/devices.txt
# What pyserial and the calls below it raise; after an unplugging it is any of them.
_FOREIGN: Final = (serial.SerialException, OSError, termios.error, TypeError, ValueError)

NO_PORT_NAMED: Final = (
    "The machine's file names no port yet. Put the cable in, name the port in the table [machine]"
    " (`etchwarden configure --ports` lists those there are) and restart the control program."
)
NOT_OF_PRACTICE: Final = (
    "The port {path} is not the practice machine's at {own}, and this program practises: its lid"
    " and its other contacts are simulated. Start it without --practice, with the file of the box."
)
_CANNOT_OPEN: Final[Mapping[int, str]] = {
    errno.ENOENT: "There is no port {path}. Check the cable and that the machine is switched on.",
    errno.EACCES: "The port {path} may not be opened. Put the program's user into group dialout.",
    errno.EAGAIN: "The port {path} is in use by another program. End that program.",
    errno.EBUSY: "The port {path} is in use by another program. End that program.",
}


class SerialPort:
    """An open serial line that nobody else may open meanwhile.

    An empty path is a port that is not named yet: it is never there.
    """

    def __init__(self, path: str) -> None:
        if not path:
            raise PortLost(NO_PORT_NAMED)
        try:
            self._serial = serial.Serial(path, BAUD, timeout=0, exclusive=True)
        except _FOREIGN as error:
            raise PortLost(_why_not(path, error)) from error
        self._path = path
        self._descriptor: int = self._serial.fileno()
        try:
            if not self._is_pseudo_terminal():
                fcntl.ioctl(self._descriptor, termios.TIOCEXCL)
            self._tell_silence_from_hanging_up()
        except _FOREIGN as error:
            self.close()
            raise PortLost(_why_not(path, error)) from error
        with suppress(*_FOREIGN, NotImplementedError):  # not every driver has such a timer
            self._serial.set_low_latency_mode(True)

    def read_waiting(self) -> bytes:
        """Return the bytes that have arrived, possibly none; never wait."""
        try:
            data = os.read(self._descriptor, READ_BYTES)
        except BlockingIOError:
            return b""
        except _FOREIGN as error:
            raise self._lost() from error
        if not data:
            raise self._lost()
        return data

    def write(self, data: bytes) -> None:
        """Hand over every byte of `data`.

        The driver's buffer holds many times what may be in flight, so a port that takes less
        takes nothing any more; what of it went out is not known and is never sent again.
        """
        try:
            written = os.write(self._descriptor, data)
        except BlockingIOError:  # not even one byte
            written = 0
        except _FOREIGN as error:
            raise self._lost() from error
        if written < len(data):
            raise PortLost(f"The port {self._path} takes no more bytes. Check the cable.")

    def discard_output(self) -> None:
        """Throw away what the driver still holds."""
        try:
            termios.tcflush(self._descriptor, termios.TCOFLUSH)
        except _FOREIGN as error:
            raise self._lost() from error

    def close(self) -> None:
        """Let go of the port."""
        with suppress(*_FOREIGN):
            self._serial.close()

    def _is_pseudo_terminal(self) -> bool:
        """Whether another program is at the other end.

        There the kernel keeps the mark of exclusive use past the last close, for as long as the
        other program lives: a daemon started anew would shut itself out. pyserial's lock on the
        file (flock) goes with its process, and has to do.
        """
        return os.major(os.fstat(self._descriptor).st_rdev) in _PSEUDO_TERMINALS

    def _tell_silence_from_hanging_up(self) -> None:
        """Let an empty read mean that the line is gone; pyserial lets it mean silence as well."""
        attributes = termios.tcgetattr(self._descriptor)
        attributes[6][termios.VMIN] = 1
        termios.tcsetattr(self._descriptor, termios.TCSANOW, attributes)

    def _lost(self) -> PortLost:
        return PortLost(f"The port {self._path} is gone: the cable was pulled, or the machine.")


def opener(path: str, *, practice_port: Path | None = None) -> Callable[[], SerialPort]:
    """Return what opens the port at `path`; a symbolic link is followed anew every time.

    In practice the box's contacts are simulated, so only the port of the practice machine to
    which they belong, `practice_port`, is ever opened, and it has to be a pseudo-terminal:
    simulated contacts beside another machine would let it burn with its lid open.
    """

    def open_port() -> SerialPort:
        if practice_port is not None:
            is_own = Path(path).resolve() == practice_port.resolve()
            if _is_real(path) or not is_own:
                raise PortLost(NOT_OF_PRACTICE.format(path=path, own=practice_port))
        return SerialPort(path)

    return open_port


def _is_real(path: str) -> bool:
    try:
        return os.major(Path(path).stat().st_rdev) not in _PSEUDO_TERMINALS
    except OSError:
        return False  # opening it says why


def _why_not(path: str, error: BaseException) -> str:
    number = getattr(error, "errno", None)
    text = _CANNOT_OPEN.get(number or 0, "{path} is no serial port that can be used.")
    return text.format(path=path)
