"""A box without pins: nothing is read and nothing driven, so the daemon can only watch."""

from collections.abc import Mapping
from typing import Final

from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.inputs import Input, Level, Output


class NoBoard:
    """A Board with nothing on it."""

    trouble: Final = None

    def read(self) -> Mapping[Input, Level]:
        """Return no level."""
        return {}

    def take_opened(self) -> Mapping[Input, Edge]:
        """Return no edge."""
        return {}

    def set(self, output: Output, *, is_on: bool) -> None:
        """Drive nothing: no output is wired."""

    def close(self) -> None:
        """Let go of nothing."""
