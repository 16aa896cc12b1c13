"""Seeing that the controller's beam is off: `M5` sent and answered, and `$G` that shows it."""

from dataclasses import dataclass, field
from typing import Final

from etchdaemon.controller.controller_command import ControllerCommand
from etchdaemon.controller.events import Event, ParserStateReported
from etchdaemon.controller.firmware import Firmware
from etchdaemon.controller.orders import Orders

LINES: Final = (b"M5", b"$G")
PATIENCE_S: Final = 3.0
STILL_ON: Final = (
    "The controller does not say that the beam is off. Switch the laser off, then the controller"
    " off and on."
)


@dataclass(slots=True)
class BeamOff:
    """Comes before whatever closes the beam's contact for a test, with the machine at rest.

    When it is over, `failure` says why the beam was not seen to be off, if it was not.
    """

    firmware: Firmware
    _chore: ControllerCommand = field(init=False)
    _parser: ParserStateReported | None = None

    def __post_init__(self) -> None:
        """Prepare the two lines."""
        self._chore = ControllerCommand(LINES, self.firmware, PATIENCE_S)

    @property
    def failure(self) -> str | None:
        """Why the beam was not seen to be off; None where it was, or while that is not known."""
        if self._chore.failure is not None or not self.is_over:
            return self._chore.failure
        is_off = self._parser is not None and self._parser.is_beam_off
        return None if is_off else STILL_ON

    @property
    def is_over(self) -> bool:
        """Whether the controller has answered, or has not."""
        return self._chore.is_over

    @property
    def polls_every_s(self) -> float | None:
        """Never: the answers are what counts."""
        return None

    def begin(self, now_s: float) -> Orders:
        """Switch the beam off."""
        return self._chore.begin(now_s)

    def hear(self, event: Event, now_s: float) -> Orders:
        """Ask when that is answered, and note what is said."""
        if isinstance(event, ParserStateReported):
            self._parser = event
        return self._chore.hear(event, now_s)

    def tick(self, now_s: float) -> Orders:
        """Give up when it takes too long."""
        return self._chore.tick(now_s)
