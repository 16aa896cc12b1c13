"""A phone's connection: how long it may take over each thing, and what becomes of its requests."""

import socket
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any, Final
from wsgiref.types import WSGIEnvironment

from waitress.channel import HTTPChannel
from waitress.task import WSGITask
from werkzeug.wrappers import Response

from etchweb.server.admission import network_of
from etchweb.server.header_check import HeaderCheck
from etchweb.server.request import NO_LENGTH, TOO_OFTEN, Request, TurnedAway

REQUEST_S: Final = 10.0  # from the first byte of a request (or the connection) to its last
IDLE_S: Final = 30.0  # from an answer to the next request
STALLED_S: Final = 30.0  # of an upload or an answer, without one byte moving
REFUSED_S: Final = 60.0  # how long a phone may go on sending what was refused

ANSWER: Final = "etchweb.answer"  # in the environ of a request that was answered at its headers


class Task(WSGITask):  # type: ignore[misc]
    """A request being answered by the application, unless its answer is there already."""

    def get_environment(self) -> WSGIEnvironment:
        """Return the WSGI environment."""
        environ: WSGIEnvironment = super().get_environment()
        if self.request.answer is not None:
            environ[ANSWER] = self.request.answer
        return environ


class Channel(HTTPChannel):  # type: ignore[misc]
    """A connection. Everything but `service` happens in the server's one loop."""

    task_class = Task
    request: Request | None

    def __init__(
        self,
        server: Any,
        sock: socket.socket,
        address: tuple[str, int],
        settings: Any,
        map: Any = None,  # noqa: A002
    ) -> None:
        self.network = network_of(address[0])
        self.parser_class = partial(Request, judge=self._judge)
        self._question: HeaderCheck | None = None
        self._clock: Callable[[], float] = server.clock
        self._owes_since_s: float = self._clock()
        self._moved_at_s: float = self._owes_since_s
        self._began_at_s: float | None = None
        self._was_answered = False
        self._is_refused = False
        self._discards_until_s: float | None = None
        super().__init__(server, sock, address, settings, map=map)

    @property
    def last_activity(self) -> float:
        """When a byte last went either way: by a clock that cannot be set, unlike the server's."""
        return self._moved_at_s

    @last_activity.setter
    def last_activity(self, _at_s: float) -> None:
        self._moved_at_s = self._clock()

    @property
    def is_known(self) -> bool:
        """Whether a paired phone has asked from this address."""
        return bool(self.network in self.server.known)

    @property
    def silent_since_s(self) -> float | None:
        """Since when it has owed us a whole request; None while we owe it something."""
        return None if self.requests or self._is_sending_much else self._owes_since_s

    @property
    def ends_at_s(self) -> float:
        """When it is closed unless something happens."""
        if self._discards_until_s is not None:
            return min(self._discards_until_s, self._moved_at_s + REQUEST_S)
        if self.requests:
            return float("inf")
        if self.total_outbufs_len or self._is_sending_much:
            return self._moved_at_s + STALLED_S
        if self._began_at_s is not None:
            return self._began_at_s + REQUEST_S
        return self._owes_since_s + (IDLE_S if self._was_answered else REQUEST_S)

    def readable(self) -> bool:
        """Return whether more is to be read: nothing while it is asked whether a body may come."""
        return self._question is None and bool(super().readable())

    def received(self, data: bytes) -> bool:
        """Take in some bytes."""
        if self._discards_until_s is not None:
            return False
        taken = bool(super().received(data))
        if self.request is None:
            self._began_at_s = None
        elif self._began_at_s is None:
            self._began_at_s = self._moved_at_s
        return taken

    def service(self) -> None:
        """Answer one request, in one of the server's threads."""
        self._owes_since_s = self._clock()  # it may be looked at before the next line but two
        self._is_refused = self.requests[0].is_refused
        super().service()
        self._was_answered, self._owes_since_s = True, self._clock()

    def handle_close(self) -> None:
        """Close, and forget what had come of a request.

        A phone that was refused goes on sending all the same, and its browser listens only then:
        what comes is thrown away for a while, or the reset would cost the sentence (RFC 9112, 9.6).
        """
        if self._is_refused and self.is_known and self._discards_until_s is None:
            self.will_close = self.close_when_flushed = False
            self._discards_until_s = self._clock() + REFUSED_S
            with suppress(OSError):  # it has left
                self.socket.shutdown(socket.SHUT_WR)
            return
        if self.request is not None:
            self.request.close()
        super().handle_close()

    @property
    def _is_sending_much(self) -> bool:
        return self.request is not None and (
            self._question is not None or self.request.release is not None
        )

    def _judge(self, request: Request) -> None:
        """Look at a request whose headers are whole."""
        if request.chunked:  # no browser sends one; what stands between the chunks has no end
            request.turn_away(TurnedAway(411, "Length Required", NO_LENGTH))
        elif self.server.asks_too_often(self.network):
            request.turn_away(TurnedAway(429, "Too Many Requests", TOO_OFTEN))
        elif request.is_large and not request.completed:
            self._ask(request)

    def _ask(self, request: Request) -> None:
        """Read no more until the application has said whether the body may be sent."""
        request.wants_continue, request.expect_continue = request.expect_continue, False
        environ: WSGIEnvironment = WSGITask(self, request).get_environment()
        self._question = HeaderCheck(
            self.server.application, environ, self._hear, is_known=self.is_known
        )
        self.server.add_task(self._question)

    def _hear(self, question: HeaderCheck, answer: Response | None) -> None:
        """Be told what the application says; from here on it is the loop's again."""
        self.server.trigger.pull_trigger(partial(self._go_on, question, answer))

    def _go_on(self, question: HeaderCheck, answer: Response | None) -> None:
        self._question = None
        request = self.request
        if request is None or not self.connected:  # it has left meanwhile
            if question.release is not None:
                question.release()
        elif answer is None:
            request.release = question.release
            if request.wants_continue:
                self._invite(request)
        else:
            self._answer_at_once(request, answer)

    def _invite(self, request: Request) -> None:
        request.expect_continue = True
        with self.requests_lock:
            if not self.requests:  # else it is invited when they are answered
                self.send_continue()

    def _answer_at_once(self, request: Request, answer: Response) -> None:
        request.answer = answer
        request.headers["CONNECTION"] = "close"  # its body is still on the way
        with self.requests_lock:
            request.completed = True
            self.request, self._began_at_s = None, None
            self.requests.append(request)
            if len(self.requests) == 1:
                self.server.add_task(self)
