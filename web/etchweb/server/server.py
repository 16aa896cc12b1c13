"""The page's server: waitress, with the decision who gets a connection in front of it."""

import errno
import resource
import socket
import time
from collections import deque
from collections.abc import Callable, Iterable
from typing import Any, Final
from wsgiref.types import StartResponse, WSGIApplication, WSGIEnvironment

from waitress.adjustments import Adjustments
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

from etchweb.server.admission import (
    CONNECTIONS,
    REQUESTS,
    Caps,
    KnownAddresses,
    NoPlace,
    displaced,
    network_of,
)
from etchweb.server.channel import ANSWER, Channel
from etchweb.server.rate import Buckets
from etchweb.server.request import LARGEST_HEADERS_BYTES, LARGEST_REQUEST_BYTES

THREADS: Final = 16  # a stream holds one each, and eight streams are let in
ACCEPTED_AT_ONCE: Final = 32
LOOK_ROUND_EVERY_S: Final = 0.5
NO_DESCRIPTOR_S: Final = 0.5  # how long nobody is let in after the process ran out of them
LOST_AFTER_MS: Final = 30_000  # a phone out of reach takes no more: its stream is another's

_OUT_OF_DESCRIPTORS: Final = (errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM)


class KnownFirst:
    """What waits for a thread: that of known addresses first, then the rest, each in its order."""

    def __init__(self) -> None:
        self._known: deque[Any] = deque()
        self._strangers: deque[Any] = deque()

    def append(self, task: Any) -> None:
        """Wait; a task that says nothing of where it comes from is our own."""
        (self._known if getattr(task, "is_known", True) else self._strangers).append(task)

    def popleft(self) -> Any:
        """Return what is next."""
        return (self._known or self._strangers).popleft()

    def __len__(self) -> int:
        """Return how many wait."""
        return len(self._known) + len(self._strangers)


class Server(TcpWSGIServer):  # type: ignore[misc]
    """Serves `application` at `listener`; `run` returns at SystemExit.

    `known` is told by the application from where paired phones ask. `clock` tells seconds, and is
    not moved by setting the time.
    """

    channel_class = Channel

    def __init__(
        self,
        application: WSGIApplication,
        listener: socket.socket,
        known: KnownAddresses,
        *,
        clock: Callable[[], float] = time.monotonic,
        map: dict[int, Any] | None = None,  # noqa: A002 - waitress's name
    ) -> None:
        self.known = known
        self.clock = clock
        self.caps = Caps.within(_open_files())
        self._connections, self._requests = Buckets(CONNECTIONS), Buckets(REQUESTS)
        self._accepts_from_s = self._looks_round_at_s = 0.0
        settings = Adjustments(
            channel_request_lookahead=1,  # or a phone that left would hold its thread
            max_request_header_size=LARGEST_HEADERS_BYTES,
            max_request_body_size=LARGEST_REQUEST_BYTES,
            ident=None,
        )
        settings.socket_options = [
            *settings.socket_options,
            (socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, LOST_AFTER_MS),
        ]
        threads = ThreadedTaskDispatcher()
        threads.queue = KnownFirst()
        threads.set_thread_count(THREADS)
        super().__init__(
            _answered_first(application),
            {} if map is None else map,
            _sock=listener,
            dispatcher=threads,
            adj=settings,
            bind_socket=False,
            sockinfo=(listener.family, listener.type, listener.proto, listener.getsockname()),
        )

    @property
    def guests(self) -> list[Channel]:
        """The connections that have a place."""
        return [channel for channel in self.active_channels.values() if not channel.will_close]

    def asks_too_often(self, network: str) -> bool:
        """Count a request from `network`, and return whether it is one too many."""
        return network not in self.known and self._requests.wait_s(network, self.clock()) > 0

    def readable(self) -> bool:
        """Close what took too long, and return whether anybody may come in now."""
        now_s, due_s = self.clock(), self._looks_round_at_s
        if now_s >= due_s:
            self._looks_round_at_s = now_s + LOOK_ROUND_EVERY_S
            # Judged by when it was due: where this loop was kept waiting since, what came meanwhile
            # is not read yet.
            for guest in self.guests:
                if guest.ends_at_s <= due_s:
                    guest.will_close = True
        return bool(self.accepting) and now_s >= self._accepts_from_s

    def handle_accept(self) -> None:
        """Let in who waits, as far as there is a place."""
        for _ in range(ACCEPTED_AT_ONCE):
            try:
                client, address = self.socket.accept()
            except BlockingIOError:
                return
            except OSError as error:
                if error.errno in _OUT_OF_DESCRIPTORS:
                    self._accepts_from_s = self.clock() + NO_DESCRIPTOR_S
                return
            if self._has_place_for(network_of(address[0])):
                self.set_socket_options(client)
                self.channel_class(self, client, address, self.adj, map=self._map)
            else:
                client.close()

    def _has_place_for(self, network: str) -> bool:
        is_known = network in self.known
        if not is_known and self._connections.wait_s(network, self.clock()) > 0:
            return False
        try:
            gives_way = displaced(network, self.guests, self.caps, is_known=is_known)
        except NoPlace:
            return False
        if gives_way is not None:
            gives_way.will_close = True
        return True


def _open_files() -> float:
    """Return how many files this process may have open."""
    most, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
    return float("inf") if most == resource.RLIM_INFINITY else most


def _answered_first(application: WSGIApplication) -> WSGIApplication:
    """Return `application`, which is not asked again for what was answered at the headers."""

    def answer(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        ready: WSGIApplication = environ.get(ANSWER, application)
        return ready(environ, start_response)

    return answer
