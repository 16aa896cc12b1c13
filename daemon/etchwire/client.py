"""Talking to the daemon, or to anything else that answers JSON lines on a Unix socket."""

import contextlib
import itertools
import socket
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from threading import Lock
from types import TracebackType
from typing import Any, Final, Self

from etchwire.errors import DaemonAbsent, MalformedMessage, Refused
from etchwire.framing import LineBuffer, decode, encode
from etchwire.messages import PROTOCOL, Failure, Message, Request, Result, parse_message

ANSWER_TIMEOUT_S: Final = 20.0  # the daemon itself gives its loop fifteen
LOAD_TIMEOUT_S: Final = 120.0  # a long job is copied to a slow card and hashed
REST_TIMEOUT_S: Final = 330.0  # the daemon gives the child that writes a rest five minutes
SILENCE_TIMEOUT_S: Final = 5.0  # a subscriber hears something every second
_READ_BYTES: Final = 65536


class DaemonClient:
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
            self.greeting: Mapping[str, Any] = self.call("hello", protocol=PROTOCOL)
        except BaseException:
            self._socket.close()
            raise

    def call(self, method: str, /, **params: Any) -> Any:
        """Ask `method` and return its result."""
        timeout_s = REST_TIMEOUT_S if method == "reenter" else self._timeout_s
        return self._call(method, params, (), timeout_s)

    def load(self, gcode: int, sheet: int) -> Any:
        """Hand over a job as two open file descriptors, which stay the caller's to close."""
        return self._call("load", {}, (gcode, sheet), LOAD_TIMEOUT_S)

    def subscribe(self) -> Iterator[dict[str, Any]]:
        """Yield the machine's snapshot now and whenever it changes, until the connection ends.

        It ends with DaemonAbsent, also when the daemon is silent for five seconds: it says
        something every second. `close` from another thread ends the iteration without an error.
        """
        snapshot = self.call("subscribe")
        self._socket.settimeout(SILENCE_TIMEOUT_S)
        while True:
            yield snapshot
            try:
                snapshot = self._next_snapshot()
            except DaemonAbsent:
                if self._is_closed:
                    return
                raise

    def close(self) -> None:
        """End the connection; harmless when it has ended, and allowed from any thread."""
        self._is_closed = True
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()

    def __enter__(self) -> Self:
        """Return the connection; leaving closes it."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
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

    def _call(
        self, method: str, params: Mapping[str, Any], files: Sequence[int], timeout_s: float
    ) -> Any:
        with self._lock:
            call_id = next(self._call_ids)
            line = encode(Request(method, params, call_id).to_table())
            try:
                self._send(line, files, timeout_s)
                answer = self._answer_to(call_id)
            except DaemonAbsent:
                self.close()
                raise
        if isinstance(answer, Failure):
            raise Refused(answer.kind, answer.message)
        return answer.value

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

    def _next_snapshot(self) -> dict[str, Any]:
        while True:
            message = self._hear()
            if isinstance(message, Request) and message.method == "status":
                return dict(message.params)

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
