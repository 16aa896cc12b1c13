"""One client of a `LineServer`: what it said, what it still has to be told."""

import contextlib
import logging
import os
import socket
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Final

from etchwire.errors import (
    LineTooLong,
    MalformedMessage,
    Refused,
    UnfitParameters,
    UnknownMethod,
)
from etchwire.transport.framing import LineBuffer, decode, encode
from etchwire.transport.handlers import Handlers, IncomingCall
from etchwire.transport.messages import PROTOCOL, Code, Failure, Request, Result, parse_message

_log = logging.getLogger(__name__)

UNANSWERED_LIMIT: Final = 32
PARTING_TIMEOUT_S: Final = 5.0
_SHORTEST_S: Final = 0.001  # what has come by then is still heard
_FOR_EVER_S: Final = 0.0
_FILES_LIMIT: Final = 4
_READ_BYTES: Final = 65536
_FILE: Final = struct.Struct("i")
_TIMEVAL: Final = struct.Struct("ll")
_THE_END: Final = bytes(bytearray(b"\n"))  # one object, told apart from every line by identity
_CODES: Final = {UnknownMethod: Code.METHOD_NOT_FOUND, UnfitParameters: Code.INVALID_PARAMS}


class ClientSession:
    """A connection: one thread hears it, one answers it, and a push never waits for either."""

    def __init__(
        self,
        client: socket.socket,
        pid: int,
        reception: Handlers,
        when_gone: Callable[["ClientSession"], None],
    ) -> None:
        self._pid = pid
        self._socket = client
        self._reception = reception
        self._when_gone = when_gone
        self._is_greeted = False
        self._is_gone = False
        self._buffer = LineBuffer()
        self._files: list[int] = []
        self._unanswered: deque[IncomingCall | bytes] = deque()
        self._latest: bytes | None = None
        self._changed = threading.Condition()
        self._sending = threading.Lock()
        self._hello_until_s = time.monotonic() + reception.hello_timeout_s
        self._limit(socket.SO_SNDTIMEO, reception.send_timeout_s)
        self._threads = [
            threading.Thread(target=target, name=f"client {pid} {name}", daemon=True)
            for name, target in (("hearing", self._hear), ("answering", self._tell))
        ]

    def start(self) -> None:
        """Hear and answer from now on."""
        for thread in reversed(self._threads):  # the hearing one ends by joining the other
            thread.start()

    @property
    def is_greeted(self) -> bool:
        """Whether it has said hello."""
        return self._is_greeted

    @property
    def is_gone(self) -> bool:
        """Whether the connection has ended; pushing to it does nothing."""
        return self._is_gone

    def push(self, line: bytes) -> None:
        """Send an encoded notification; one that is still waiting to go is replaced by it."""
        with self._changed:
            self._latest = line
            self._changed.notify()

    def part(self) -> None:
        """End the connection; both threads notice."""
        with self._changed:
            self._is_gone = True
            self._changed.notify()
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)

    def join(self) -> None:
        """Wait until both threads are done, but not for ever: an answer may be slow."""
        for thread in self._threads:
            thread.join(PARTING_TIMEOUT_S)

    def _hear(self) -> None:
        try:
            while self._hear_more():
                pass
        except LineTooLong as error:
            self._queue(_failed(Code.INVALID_REQUEST, error))
        except OSError:
            pass  # the client is gone, which ends this thread as it should
        finally:
            self._leave()

    def _hear_more(self) -> bool:
        data = self._read()
        self._buffer.feed_bytes(data)
        for line in self._buffer.lines():
            self._take(line)
        return bool(data) and len(self._files) <= _FILES_LIMIT

    def _limit(self, which: int, seconds: float) -> None:
        """Have what cannot finish in time raise BlockingIOError: socket(7), SO_RCVTIMEO."""
        whole, rest = divmod(seconds, 1)
        self._socket.setsockopt(
            socket.SOL_SOCKET, which, _TIMEVAL.pack(int(whole), int(rest * 1_000_000))
        )

    def _read(self) -> bytes:
        """Return what has arrived, keeping the files that came with it.

        `socket.recv_fds` would do, but drops its flags (CPython 3.11): the files would stay open
        in every program that the daemon starts.
        """
        if not self._is_greeted:
            left_s = self._hello_until_s - time.monotonic()
            self._limit(socket.SO_RCVTIMEO, max(left_s, _SHORTEST_S))
        data, extras, _, _ = self._socket.recvmsg(
            _READ_BYTES, socket.CMSG_LEN(_FILES_LIMIT * _FILE.size), socket.MSG_CMSG_CLOEXEC
        )
        for level, kind, packed in extras:
            if (level, kind) == (socket.SOL_SOCKET, socket.SCM_RIGHTS):
                whole = packed[: len(packed) - len(packed) % _FILE.size]
                self._files += [file for (file,) in _FILE.iter_unpack(whole)]
        return data

    def _take(self, line: bytes) -> None:
        incoming = IncomingCall(self, Request("", {}), self._claim_files())
        fault = Code.PARSE_ERROR
        try:
            table = decode(line)
            fault = Code.INVALID_REQUEST
            message = parse_message(table)
        except MalformedMessage as error:
            incoming.close_files()
            self._queue(_failed(fault, error))
            return
        if isinstance(message, Request):  # we asked nothing, so no answer concerns us
            incoming.request = message
            self._sort(incoming)

    def _claim_files(self) -> list[int]:
        """Return the files that belong to the line just heard.

        The kernel ends a read with the piece of data that files came with (unix(7)), and ours
        come with a whole line: so they belong to the last line of what was read.
        """
        if self._buffer.has_unfinished_line:
            return []
        files, self._files = self._files, []
        return files

    def _sort(self, incoming: IncomingCall) -> None:
        if incoming.request.method == "hello" or incoming.request.method in self._reception.at_once:
            self._send(self._answer(incoming))
        else:
            self._queue(incoming)

    def _queue(self, item: IncomingCall | bytes) -> None:
        with self._changed:
            if len(self._unanswered) < UNANSWERED_LIMIT:
                self._unanswered.append(item)
                self._changed.notify()
                return
        _log.warning("client %s asks faster than it reads: dropped", self._pid)
        self.part()

    def _leave(self) -> None:
        with self._changed:
            self._unanswered.append(_THE_END)
            self._changed.notify()
        self._threads[1].join()
        for item in self._unanswered:
            if isinstance(item, IncomingCall):
                item.close_files()
        for file in self._files:
            os.close(file)
        self._socket.close()
        self._when_gone(self)

    def _tell(self) -> None:
        try:
            while (item := self._next()) is not _THE_END:
                self._send(self._answer(item) if isinstance(item, IncomingCall) else item)
        except OSError:
            pass  # gone while being told
        finally:
            self.part()

    def _send(self, line: bytes) -> None:
        try:
            with self._sending:
                self._socket.sendall(line)
        except BlockingIOError:
            _log.warning("client %s does not read: dropped", self._pid)
            raise

    def _next(self) -> IncomingCall | bytes:
        with self._changed:
            while not self._is_gone:
                if self._unanswered:
                    return self._unanswered.popleft()
                if self._latest is not None:
                    latest, self._latest = self._latest, None
                    return latest
                self._changed.wait()
        return _THE_END

    def _answer(self, incoming: IncomingCall) -> bytes:
        request = incoming.request
        try:
            line = encode(Result(request.call_id, self._value(incoming)).to_table())
        except Refused as refusal:
            code = _CODES.get(type(refusal), Code.REFUSED)
            line = _failure(request.call_id, code, refusal.message, refusal.kind)
        except Exception:  # noqa: BLE001 (a fault in one answer must not end the conversation)
            _log.exception("answering %s failed", request.method)
            sentence = f"a fault in the program: {request.method} was not answered; see its log"
            line = _failure(request.call_id, Code.INTERNAL_ERROR, sentence, "internal")
        finally:
            incoming.close_files()
        return line if request.call_id is not None else b""

    def _value(self, incoming: IncomingCall) -> object:
        if incoming.request.method == "hello":
            return self._greet(incoming.request.params)
        if not self._is_greeted:
            raise Refused("refused", "say hello first, with the protocol's version")
        return self._reception.answer(incoming)

    def _greet(self, params: Mapping[str, object]) -> Mapping[str, object]:
        if params.get("protocol") != PROTOCOL:
            raise Refused(
                "refused",
                f"this program speaks protocol {PROTOCOL}, not {params.get('protocol')!r}: "
                "update both ends together",
            )
        self._is_greeted = True
        self._limit(socket.SO_RCVTIMEO, _FOR_EVER_S)
        return {"protocol": PROTOCOL, **self._reception.greeting}


def _failure(call_id: int | str | None, code: Code, message: str, kind: str) -> bytes:
    return encode(Failure(call_id, code, message, kind).to_table())


def _failed(code: Code, error: Exception) -> bytes:
    return _failure(None, code, str(error), "refused")
