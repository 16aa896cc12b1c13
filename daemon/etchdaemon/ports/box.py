"""What the daemon needs of the box: its contacts, and what is written down about them."""

from collections.abc import Mapping
from typing import Protocol

from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.inputs import Input, Level, Output


class BeamEnable(Protocol):
    """The daemon's own contact in the laser's supply chain."""

    def allow(self) -> None:
        """Close the contact."""
        ...

    def cut(self) -> None:
        """Open the contact; harmless when it is open."""
        ...


class Board(Protocol):
    """The box's inputs and outputs. Only one thread reads; any thread may set an output."""

    @property
    def trouble(self) -> str | None:
        """A sentence for a person where the board does less than it should, else None."""
        ...

    def read(self) -> Mapping[Input, Level]:
        """Return every input that can be read, with the time of reading; raise BoardLost."""
        ...

    def take_opened(self) -> Mapping[Input, Edge]:
        """Return the inputs that were seen to open since this was asked last, and when.

        One entry an input, so nothing can pile up; an input that opened is never left out,
        however often it has closed again since. Edges may get lost all the same: `read` is
        the truth.
        """
        ...

    def set(self, output: Output, *, is_on: bool) -> None:
        """Drive an output, at once; raise BoardLost. An output that is not wired is ignored."""
        ...

    def close(self) -> None:
        """Drive every output off and let go of the board; never raises."""
        ...


class BoxRecords(Protocol):
    """The logbook as the guard sees it: nothing here waits."""

    def note_proof(self, name: str, at_utc: str) -> None:
        """Queue that the safety contact `name` was seen to open and to close again."""
        ...

    def note_relay_test(self, at_utc: str, *, has_passed: bool) -> None:
        """Queue how a test of the safety relay ended."""
        ...
