"""The board's inputs and outputs for the guard: the one way to the beam's contact."""

from collections.abc import Callable, Mapping
from contextlib import suppress

from etchdaemon.errors import BoardLost
from etchdaemon.interlocks.clocks import Edge
from etchdaemon.interlocks.inputs import Input, Level, Output
from etchdaemon.ports import Board


class BoardIo:
    """Keeps what each output was driven to, and drives only changes.

    `note_beam` is called at every change of the beam's contact.
    """

    def __init__(self, board: Board, *, note_beam: Callable[[bool], None]) -> None:
        """Drive every output off before anything else."""
        self._board = board
        self._note_beam = note_beam
        self._driven: dict[Output, bool] = {}
        self.drive_all_off()

    @property
    def driven(self) -> dict[Output, bool]:
        """What each output was last driven to."""
        return dict(self._driven)

    @property
    def trouble(self) -> str | None:
        """A sentence where the board does less than it should, else None."""
        return self._board.trouble

    def take_opened(self) -> Mapping[Input, Edge]:
        """Return the inputs that have opened since the last call, and when."""
        return self._board.take_opened()

    def read(self) -> Mapping[Input, Level]:
        """Return every input's level; none where the board is lost."""
        try:
            return self._board.read()
        except BoardLost:
            self._driven.clear()  # whatever comes back has everything off
            return {}

    def drive(self, output: Output, *, is_on: bool) -> None:
        """Drive `output` unless it is driven so already: the one place that closes a contact."""
        if self._driven.get(output) is is_on:
            return
        try:
            self._board.set(output, is_on=is_on)
        except BoardLost:  # tried again at the next look; where nothing is read either, that trips
            if is_on:
                return  # off was driven, obeyed or not: the loop input shows which
        else:
            self._driven[output] = is_on
        if output is Output.BEAM_ENABLE:
            self._note_beam(is_on)

    def cut_beam(self) -> None:
        """Open the beam's contact."""
        self.drive(Output.BEAM_ENABLE, is_on=False)

    def force_beam_off(self) -> None:
        """Open the beam's contact whatever was driven before; never raises."""
        self._driven.pop(Output.BEAM_ENABLE, None)
        with suppress(Exception):
            self.cut_beam()

    def drive_all_off(self) -> None:
        """Drive every output off."""
        for output in Output:
            with suppress(BoardLost):
                self._board.set(output, is_on=False)
                self._driven[output] = False

    def close(self) -> None:
        """Drive every output off and release the board."""
        self.drive_all_off()
        self._board.close()
