"""Talking to the daemon."""

from collections.abc import Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TypeVar

from etchwire.calls.call import Call, files_of, parameters_of
from etchwire.calls.json_values import from_json_value, to_json_value
from etchwire.calls.machine import Subscribe
from etchwire.calls.snapshot import Snapshot
from etchwire.errors import AnotherRelease, MalformedMessage
from etchwire.transport.line_client import LineClient

_Answer = TypeVar("_Answer")


class DaemonClient(AbstractContextManager["DaemonClient"]):
    """One connection to the daemon; a thread that must not wait for another's opens its own.

    Every method raises what `LineClient` raises.
    """

    def __init__(self, path: Path) -> None:
        """Connect to the socket at `path` and say hello."""
        self._line = LineClient(path)

    def ask(self, call: Call[_Answer]) -> _Answer:
        """Make `call` and return its answer; open files stay the caller's to close.

        Raise AnotherRelease for an answer that lacks what this release needs.
        """
        answer = self._line.exchange(
            call.method(),
            to_json_value(parameters_of(call)),
            files=files_of(call),
            timeout_s=call.patience_s,
        )
        typed: _Answer = self._typed(answer, call.answer_type(), call.method())
        return typed

    def watch(self) -> Iterator[Snapshot]:
        """Yield the snapshot now and whenever it changes; see `LineClient.pushed`."""
        yield self.ask(Subscribe())
        for snapshot in self._line.pushed("status"):
            yield self._typed(snapshot, Snapshot, "status")

    def _typed(self, answer: object, kind: type[_Answer], method: str) -> _Answer:
        try:
            return from_json_value(answer, kind)
        except MalformedMessage as error:
            raise AnotherRelease(
                "the control program and this one are of different releases: update both together"
                f" (its answer to {method}: {error})"
            ) from error

    def close(self) -> None:
        """End the connection; harmless when it has ended, and allowed from any thread."""
        self._line.close()

    def __exit__(self, *_error: object) -> None:
        """Close."""
        self.close()
