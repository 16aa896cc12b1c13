"""Pseudo-terminals under a name that is wished for, and one that another program holds."""

import fcntl
import operator
import os
import termios
import tty
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from typing import Final

_MOST_TRIES: Final = 64  # the kernel gives the lowest number that is free

# Whether a name will do after the last one.
NAMES: Final[Mapping[str, Callable[[str, str], bool]]] = {
    "any": lambda _name, _before: True,
    "same": operator.eq,
    "another": operator.ne,
}


class NameTaken(ValueError):
    """The name that was wished for is somebody else's by now."""


def open_terminal(will_do: Callable[[str], bool]) -> tuple[int, int]:
    """Return both ends of a raw terminal whose name will do; raise NameTaken.

    Those that were opened on the way are given back.
    """
    with ExitStack() as unwanted:
        for _ in range(_MOST_TRIES):
            master, other = os.openpty()
            if will_do(os.ttyname(other)):
                _make_raw(other)
                return master, other
            unwanted.callback(os.close, master)
            unwanted.callback(os.close, other)
    raise NameTaken("the port's name is another terminal's by now")


def _make_raw(other: int) -> None:
    tty.setraw(other)
    attributes = termios.tcgetattr(other)
    attributes[4] = attributes[5] = termios.B115200
    termios.tcsetattr(other, termios.TCSANOW, attributes)


def hold(descriptor: int) -> None:
    """Keep the port for the program that has it open, as serial programs do."""
    fcntl.flock(descriptor, fcntl.LOCK_EX)


def stop_taking(master: int) -> None:
    """Let the other end's driver take no byte more, until it is opened and set up anew."""
    attributes = termios.tcgetattr(master)
    attributes[0] |= termios.IXON
    termios.tcsetattr(master, termios.TCSANOW, attributes)
    os.write(master, attributes[6][termios.VSTOP])
