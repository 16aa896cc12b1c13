"""How a server receives its clients: what it answers, to whom, and with which open files."""

import os
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Protocol

from etchwire.errors import Refused
from etchwire.transport.messages import Request


class Connection(Protocol):
    """The other end, as whoever answers it sees it."""

    @property
    def is_gone(self) -> bool:
        """Whether it has ended; pushing to it does nothing."""
        ...

    def push(self, line: bytes) -> None:
        """Send an encoded notification, replacing one that has not left yet; never waits."""
        ...


@dataclass(slots=True)
class IncomingCall:
    """A request as it reaches whoever answers it: from whom, and with which open files."""

    caller: Connection
    request: Request
    files: list[int]

    def take_files(self, count: int) -> list[int]:
        """Return the descriptors that came along, now the taker's to close.

        Raise Refused unless there are exactly `count`. Those that nobody takes are closed when
        the request is answered.
        """
        if len(self.files) != count:
            raise Refused("refused", f"{count} open files must come along, not {len(self.files)}")
        files, self.files = self.files, []
        return files

    def close_files(self) -> None:
        """Close what nobody took."""
        while self.files:
            os.close(self.files.pop())


Answer = Callable[[IncomingCall], object]


@dataclass(frozen=True, slots=True, kw_only=True)
class Handlers:
    """How a server receives its clients.

    `answer` gets each request and returns its result, raising Refused to say no. Methods in
    `at_once` are answered by the thread that hears them, ahead of everything this client still
    waits for; the others are answered in the order they came. `greeting` is what `hello` tells.
    A client that has not said hello after `hello_timeout_s`, or takes nothing for
    `send_timeout_s`, is dropped.
    """

    answer: Answer
    greeting: dict[str, object]
    at_once: Collection[str] = ()
    hello_timeout_s: float = 5.0
    send_timeout_s: float = 2.0
