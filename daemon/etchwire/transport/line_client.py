"""Asking whatever answers JSON lines on a Unix socket: plain tables, the standard library alone.

`systemd/install` asks through it under the system's bare Python; `calls.client` puts types on
top.
"""

import contextlib
import itertools
import socket
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from threading import Lock
from typing import Any, Final

from etchwire.errors import DaemonAbsent, MalformedMessage, Refused
from etchwire.transport.framing import LineBuffer, decode, encode
from etchwire.transport.messages import PROTOCOL, Failure, Message, Request, Result, parse_message

ANSWER_TIMEOUT_S: Final = 20.0  # the daemon itself gives its loop fifteen
SILENCE_TIMEOUT_S: Final = 5.0  # a subscriber hears something every second
_READ_BYTES: Final = 65536


class LineClient(contextlib.AbstractContextManager["LineClient"]):
    """One connection; a thread that must not wait for another's answer opens its own.

    Every method raises DaemonAbsent when nobody is there or the answer stays out (the
    connection is closed then, and reconnecting is the caller's to do), and Refused when the
    other end says no.
    """

    def __init__(
        self, path: Path, *, peer: str = "the daemon", timeout_s: float = ANSWER_TIMEOUT_S
    ) -> None:
        """Connect and say hello; `peer` is the word for the other end in messages."""
        self._peer = peer
        self._path = path
        self._lock = Lock()
        self._call_ids = itertools.count(1)
        self._buffer = LineBuffer()
        self._is_closed = False
        self._timeout_s = timeout_s
        self._socket = self._connect()
        try:
            self.greeting: Mapping[str, object] = self.call("hello", protocol=PROTOCOL)
        except BaseException:
            self._socket.close()
            raise

    def call(self, method: str, /, **params: object) -> Any:
        """Ask `method` and return its result."""
        return self.exchange(method, params)

    def exchange(
        self,
        method: str,
        params: Mapping[str, object],
        *,
        files: Sequence[int] = (),
        timeout_s: float | None = None,
    ) -> object:
        """Ask `method`, handing over open `files` that stay the caller's to close."""
        with self._lock:
            call_id = next(self._call_ids)
            line = encode(Request(method, params, call_id).to_table())
            try:
                self._send(line, files, self._timeout_s if timeout_s is None else timeout_s)
                answer = self._answer_to(call_id)
            except DaemonAbsent:
                self.close()
                raise
        if isinstance(answer, Failure):
            raise Refused(answer.kind, answer.message)
        return answer.value

    def pushed(self, method: str) -> Iterator[Mapping[str, object]]:
        """Yield what the other end says by itself under `method`, until the connection ends.

        It ends with DaemonAbsent, also when the other end is silent for five seconds: it says
        something every second. `close` from another thread ends the iteration without an error.
        """
        with contextlib.suppress(OSError):  # closed already: whoever listens next finds out
            self._socket.settimeout(SILENCE_TIMEOUT_S)
        while True:
            try:
                message = self._hear()
            except DaemonAbsent:
                if self._is_closed:
                    return
                raise
            if isinstance(message, Request) and message.method == method:
                yield message.params

    def close(self) -> None:
        """End the connection; harmless when it has ended, and allowed from any thread."""
        self._is_closed = True
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()

    def __exit__(self, *_error: object) -> None:
        """Close."""
        self.close()

    def _connect(self) -> socket.socket:
        connection = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        connection.settimeout(self._timeout_s)
        try:
            connection.connect(str(self._path))
        except OSError as error:
            connection.close()
            reason = _REASONS.get(type(error), error.strerror or str(error))
            raise DaemonAbsent(f"{self._peer} does not answer at {self._path}: {reason}") from error
        return connection

    def _send(self, line: bytes, files: Sequence[int], timeout_s: float) -> None:
        try:
            self._socket.settimeout(timeout_s)
            sent = socket.send_fds(self._socket, [line], files) if files else 0
            self._socket.sendall(line[sent:])
        except BrokenPipeError:
            pass  # it has left, but may have said why: whoever listens next hears that, or nothing
        except OSError as error:
            raise DaemonAbsent(f"{self._peer} is gone: {error.strerror or error}") from error

    def _answer_to(self, call_id: int) -> Result | Failure:
        while True:
            message = self._hear()
            if isinstance(message, Failure) and message.call_id is None:
                return message  # it did not even understand which call this was
            if isinstance(message, (Result, Failure)) and message.call_id == call_id:
                return message

    def _hear(self) -> Message:
        try:
            while (line := next(self._buffer.lines(), None)) is None:
                self._buffer.feed_bytes(self._received())
            return parse_message(decode(line))
        except MalformedMessage as error:
            raise DaemonAbsent(f"{self._peer} answered with nonsense: {error}") from error

    def _received(self) -> bytes:
        try:
            data = self._socket.recv(_READ_BYTES)
        except TimeoutError as error:
            raise DaemonAbsent(f"{self._peer} did not answer in time") from error
        except OSError as error:
            raise DaemonAbsent(f"{self._peer} is gone: {error.strerror or error}") from error
        if not data:
            raise DaemonAbsent(f"{self._peer} has ended the connection")
        return data


_REASONS: Final[Mapping[type[OSError], str]] = {
    FileNotFoundError: "there is no such socket; is it running?",
    ConnectionRefusedError: "nobody listens there; is it running?",
    PermissionError: "this user may not; ask whoever looks after the box for the group",
    TimeoutError: "it is too busy to answer",
}
