"""The daemon as people reach it."""

from collections.abc import Callable
from typing import Protocol, TypeVar

from etchwire.calls.call import Call
from etchwire.calls.snapshot import Snapshot

_Answer = TypeVar("_Answer")


class Operator(Protocol):
    """The daemon's loop, as commands reach it; any thread may call."""

    def snapshot(self) -> Snapshot:
        """Return the newest snapshot.

        Its `sequence` grows by one with every new snapshot.
        """
        ...

    def request(self, call: Call[_Answer]) -> _Answer:
        """Make `call` and wait for its answer; open files stay the caller's to close.

        What takes its time is answered once it is under way. Raise CommandRefused, JobRefused or
        LogbookUnavailable, each with a sentence for the person.
        """
        ...

    def tell_changes_to(self, listener: Callable[[], None]) -> None:
        """Call `listener` after every new snapshot, in the loop's own thread.

        It must return at once (set an event, ring a bell) and never raise.
        """
        ...
