"""Dispatches a call to the loop or to the logbook."""

import os
import stat
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from etchdaemon.errors import CommandRefused, JobRefused, LogbookUnavailable
from etchdaemon.ports import History, Operator
from etchdaemon.rpc.method import Method, Right
from etchdaemon.rpc.methods import AT_ONCE, NOTED, OF_LOGBOOK, find_method
from etchdaemon.rpc.subscribers import Subscribers
from etchwire.errors import Refused
from etchwire.handlers import Handlers, IncomingCall
from etchwire.server import LineServer

GREETING: Final = {"program": "etchwarden daemon"}
_SHOWN: Final = frozenset(("status", "subscribe"))  # answered with the snapshot
_KINDS: Final = {CommandRefused: "refused", JobRefused: "job", LogbookUnavailable: "busy"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Admission:
    """Which users may do what; None: whoever may open the socket.

    Who may operate may observe.
    """

    observe_uids: Collection[int] | None = None
    operate_uids: Collection[int] | None = None

    def allows(self, uid: int, right: Right) -> bool:
        """Return whether the user `uid` has `right`."""
        may_operate = self.operate_uids is None or uid in self.operate_uids
        if right is Right.OPERATE:
            return may_operate
        return self.observe_uids is None or may_operate or uid in self.observe_uids


class Dispatcher:
    """The daemon's socket: everything that reaches the daemon from outside passes here."""

    def __init__(
        self, path: Path, operator: Operator, history: History, admission: Admission | None = None
    ) -> None:
        self._operator = operator
        self._history = history
        self._admission = admission or Admission()
        self._subscribers = Subscribers(operator.snapshot)
        reception = Handlers(answer=self.answer, greeting=dict(GREETING), at_once=AT_ONCE)
        self._server = LineServer(path, reception)

    def start(self) -> None:
        """Listen; raise SocketUnavailable when the place cannot be had."""
        self._server.start()
        self._subscribers.start()
        self._operator.tell_changes_to(self._subscribers.note_change)

    def stop(self) -> None:
        """Part from everybody and remove the socket."""
        self._subscribers.stop()
        self._server.stop()

    def __enter__(self) -> Self:
        """Start; leaving stops."""
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop."""
        self.stop()

    def answer(self, asked: IncomingCall) -> Any:
        """Return the answer to `asked`; raise Refused with a sentence for the person."""
        method = find_method(asked.request.method)
        if not self._admission.allows(asked.caller.peer.uid, method.right):
            raise Refused("refused", f"this user may not {method.right} the machine")
        params = method.fit(asked.request.params)
        try:
            return self._carry_out(method, params, asked)
        except (CommandRefused, JobRefused, LogbookUnavailable) as error:
            kind = next(kind for fault, kind in _KINDS.items() if isinstance(error, fault))
            raise Refused(kind, str(error)) from error

    def _heads(self) -> dict[str, Any]:
        """Return the lasers, each with the controller that is connected: it carries them all."""
        answer = self._history.ask("heads")
        controller = self._operator.snapshot().get("machine", {}).get("controller")
        if controller is None or "heads" not in answer:
            return dict(answer)
        return {**answer, "heads": [_with_controller(one, controller) for one in answer["heads"]]}

    def _carry_out(self, method: Method, params: dict[str, Any], asked: IncomingCall) -> Any:
        if method.name == "heads":
            return self._heads()
        if method.name in OF_LOGBOOK:
            return self._history.ask(method.name, **params)
        if method.name in NOTED:
            return self._history.note(method.name, **params)
        if method.name == "subscribe":
            self._subscribers.add(asked.caller)
        if method.name in _SHOWN:
            return self._operator.snapshot()
        files = asked.take_files(len(method.files))
        try:
            _require_ends(files)
            return self._operator.request(
                method.name, **params, **dict(zip(method.files, files, strict=True))
            )
        finally:
            for file in files:
                os.close(file)


def _with_controller(one: Mapping[str, Any], controller: Mapping[str, Any]) -> dict[str, Any]:
    return {**one, "head": {**one["head"], "controller": controller}}


def _require_ends(files: Collection[int]) -> None:
    """Raise Refused unless all are files on a disk: what comes by a pipe may never end."""
    if not all(stat.S_ISREG(os.fstat(file).st_mode) for file in files):
        raise Refused("job", "A job has to come as files on a disk; a pipe may never end.")
