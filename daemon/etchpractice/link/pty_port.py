"""The practice machine's end of a pseudo-terminal, under a name that stays the same."""

import os
import select
from contextlib import suppress
from pathlib import Path
from typing import Final

from etchpractice.link.device_open_watch import Openings
from etchpractice.link.terminals import NAMES, hold, open_terminal, stop_taking

_READ_BYTES: Final = 4096
_MOST_UNSENT_BYTES: Final = 65536  # a host that does not read loses what comes after


class PtyPort:
    """A pseudo-terminal whose other end is linked at `link`; the host opens it as a serial port."""

    def __init__(self, link: Path) -> None:
        self._link = link
        self._name = ""
        self._taken: int | None = None
        self._master = -1
        self._unsent = bytearray()
        self.is_open_by_host = False
        self.plug_in()

    def plug_in(self, *, name: str = "any", is_taken: bool = False) -> None:
        """Make a new terminal, as a cable that is put in again does; raise NameTaken.

        `name` is one of terminals.NAMES. A port that is taken is another program's before anybody
        else can see it.
        """
        master, other = open_terminal(lambda found: NAMES[name](found, self._name))
        self._name = os.ttyname(other)
        if is_taken:
            hold(other)
            self._taken = other
        else:
            os.close(other)  # from now on the master tells whether anybody has it open
        self._openings = Openings(self._name)
        os.set_blocking(master, False)
        self._master = master
        new_link = self._link.with_name(f"{self._link.name}.new")
        new_link.unlink(missing_ok=True)
        new_link.symlink_to(self._name)
        new_link.replace(self._link)

    def free(self) -> None:
        """Let the other program close the port."""
        if self._taken is not None:
            os.close(self._taken)
        self._taken = None

    def block(self) -> None:
        """Take nothing more from who has the port open."""
        if self._master >= 0:
            stop_taking(self._master)

    def unplug(self) -> None:
        """Close the terminal; who has it open reads its end."""
        self.free()
        with suppress(FileNotFoundError):
            self._link.unlink()
        if self._master >= 0:
            os.close(self._master)
            self._openings.close()
        self._master = -1
        self.is_open_by_host = False
        self._unsent.clear()

    def waits_for(self) -> list[int]:
        """Return the descriptors on which something may come."""
        if self._master < 0:
            return []
        openings = self._openings.fileno()
        return [self._master, openings] if self.is_open_by_host else [openings]

    def look(self) -> bool:
        """Return whether the host has opened the port since the last look."""
        if self._master < 0:
            return False
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        hung_up = any(event & select.POLLHUP for _, event in poll.poll(0))
        was_open, self.is_open_by_host = self.is_open_by_host, not hung_up
        was_reopened = self._openings.was_reopened()
        if hung_up or was_reopened:
            self._unsent.clear()
        return self.is_open_by_host and (was_reopened or not was_open)

    def read(self) -> bytes:
        """Return what the host wrote."""
        try:
            return os.read(self._master, _READ_BYTES)
        except (BlockingIOError, OSError):
            return b""  # nothing there, or nobody: `look` tells which

    def write(self, data: bytes) -> None:
        """Send to the host what its side has room for, and keep the rest a while."""
        if not self.is_open_by_host:
            return
        self._unsent += data
        if not self._unsent:
            return
        try:
            sent = os.write(self._master, self._unsent)
        except OSError:
            sent = 0
        del self._unsent[:sent]
        del self._unsent[_MOST_UNSENT_BYTES:]
