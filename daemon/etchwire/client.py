"""Talking to the daemon."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from etchwire.line_client import ANSWER_TIMEOUT_S, LineClient

LOAD_TIMEOUT_S: Final = 120.0  # a long job is copied to a slow card and hashed
REST_TIMEOUT_S: Final = 330.0  # the daemon gives the child that writes a rest five minutes


class DaemonClient:
    """One connection to the daemon; a thread that must not wait for another's opens its own.

    It raises what `LineClient` raises.
    """

    def __init__(
        self, path: Path, *, peer: str = "the daemon", timeout_s: float = ANSWER_TIMEOUT_S
    ) -> None:
        """Connect and say hello; `peer` is the word for the other end in messages."""
        self._line = LineClient(path, peer=peer, timeout_s=timeout_s)

    def call(self, method: str, /, **params: Any) -> Any:
        """Ask `method` and return its result."""
        timeout_s = REST_TIMEOUT_S if method == "reenter" else None
        return self._line.exchange(method, params, timeout_s=timeout_s)

    def load(self, gcode: int, sheet: int) -> Any:
        """Hand over a job as two open file descriptors, which stay the caller's to close."""
        return self._line.exchange("load", {}, files=(gcode, sheet), timeout_s=LOAD_TIMEOUT_S)

    def subscribe(self) -> Iterator[dict[str, Any]]:
        """Yield the machine's snapshot now and whenever it changes; see `LineClient.pushed`."""
        yield self.call("subscribe")
        yield from map(dict, self._line.pushed("status"))

    @property
    def greeting(self) -> Mapping[str, Any]:
        """What the daemon said of itself."""
        return self._line.greeting

    def close(self) -> None:
        """End the connection; harmless when it has ended, and allowed from any thread."""
        self._line.close()

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
