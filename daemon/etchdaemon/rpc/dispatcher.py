"""Dispatches a call to the loop or to the logbook."""

import os
import stat
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path
from typing import Final, Self

from msgspec import structs

from etchdaemon.errors import CommandRefused, JobRefused, LogbookUnavailable
from etchdaemon.ports import History, Operator
from etchdaemon.rpc.methods import AT_ONCE, OF_LOGBOOK, find_method
from etchdaemon.rpc.parameters import fitting, made
from etchdaemon.rpc.subscribers import Subscribers
from etchwire.calls.call import AnyCall, file_names
from etchwire.calls.catalogue import HeadList, Heads, Note
from etchwire.calls.json_values import to_json_value
from etchwire.calls.machine import Status, Subscribe
from etchwire.errors import Refused
from etchwire.transport.handlers import Connection, Handlers, IncomingCall
from etchwire.transport.server import LineServer

GREETING: Final = {"program": "etchwarden daemon"}
_KINDS: Final = {CommandRefused: "refused", JobRefused: "job", LogbookUnavailable: "busy"}


class Dispatcher:
    """The daemon's socket: everything that reaches the daemon from outside passes here."""

    def __init__(self, path: Path, operator: Operator, history: History) -> None:
        self._operator = operator
        self._history = history
        self._subscribers = Subscribers(operator.snapshot)
        handlers = Handlers(answer=self.answer, greeting=dict(GREETING), at_once=AT_ONCE)
        self._server = LineServer(path, handlers)

    def start(self) -> None:
        """Listen; raise SocketUnavailable when the place cannot be had."""
        self._server.start()
        self._subscribers.start()
        self._operator.call_on_change(self._subscribers.note_change)

    def stop(self) -> None:
        """Part from everybody and remove the socket."""
        self._subscribers.stop()
        self._server.stop()

    def __enter__(self) -> Self:
        """Start; leaving stops."""
        self.start()
        return self

    def __exit__(self, *_error: object) -> None:
        """Stop."""
        self.stop()

    def answer(self, incoming: IncomingCall) -> object:
        """Return the answer to `incoming`; raise Refused with a sentence for the person."""
        kind = find_method(incoming.request.method)
        parameters = fitting(kind, incoming.request.params)
        names = file_names(kind)
        files = incoming.take_files(len(names))
        try:
            _require_ends(files)
            call = made(kind, parameters | dict(zip(names, files, strict=True)))
            return to_json_value(self._answer_to(call, incoming.caller))
        except (CommandRefused, JobRefused, LogbookUnavailable) as error:
            refusal = next(word for fault, word in _KINDS.items() if isinstance(error, fault))
            raise Refused(refusal, str(error)) from error
        finally:
            for file in files:
                os.close(file)

    def _answer_to(self, call: AnyCall, caller: Connection) -> object:
        match call:
            case Status():
                return self._operator.snapshot()
            case Subscribe():
                self._subscribers.add(caller)
                return self._operator.snapshot()
            case Heads():
                return self._heads(call)
            case Note():
                return self._history.note(call)
        if isinstance(call, OF_LOGBOOK):
            return self._history.ask(call)
        return self._operator.request(call)

    def _heads(self, call: Heads) -> HeadList:
        """Return the lasers, each with the controller that is connected: it carries them all."""
        answer = self._history.ask(call)
        controller = self._operator.snapshot().machine.controller
        if controller is None:
            return answer
        return HeadList(
            heads=tuple(
                structs.replace(entry, head=replace(entry.head, controller=controller))
                for entry in answer.heads
            )
        )


def _require_ends(files: Collection[int]) -> None:
    """Raise Refused unless all are files on a disk: what comes by a pipe may never end."""
    if not all(stat.S_ISREG(os.fstat(file).st_mode) for file in files):
        raise Refused("job", "A job has to come as files on a disk; a pipe may never end.")
