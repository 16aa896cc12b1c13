"""The daemon as people reach it."""

from collections.abc import Callable, Mapping
from typing import Any, Protocol


class Operator(Protocol):
    """The daemon's loop, as commands reach it; any thread may call."""

    def snapshot(self) -> Mapping[str, Any]:
        """Return the newest snapshot: plain JSON values, never changed afterwards.

        Its `sequence` grows by one with every new snapshot.
        """
        ...

    def request(self, command: str, **arguments: Any) -> Mapping[str, Any]:
        """Ask for `command` and wait for its answer.

        `load` takes `gcode_fd` and `sheet_fd` (the caller closes them) and answers
        `{"job_sha256": ...}`; `unload`, `start`, `hold`, `hold_now`, `resume`, `stop` take
        nothing and answer `{}` once they are under way. Raise CommandRefused, JobRefused or
        LogbookUnavailable, each with a sentence for the person.
        """
        ...

    def tell_changes_to(self, listener: Callable[[], None]) -> None:
        """Call `listener` after every new snapshot, in the loop's own thread.

        It must return at once (set an event, ring a bell) and never raise.
        """
        ...
