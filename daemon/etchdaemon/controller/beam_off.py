"""The check that the controller's beam is off: `M5`, answered, then `$G`, which shows it."""

from dataclasses import dataclass, field
from typing import ClassVar, Final

from etchdaemon.controller.controller_command import ControllerCommand
from etchdaemon.controller.events import Event, ParserStateReported
from etchdaemon.controller.firmware import Firmware
from etchdaemon.controller.orders import Orders

LINES: Final = (b"M5", b"$G")
TIMEOUT_S: Final = 3.0
STILL_ON: Final = (
    "The controller does not say that the beam is off. Switch the laser off, then the controller"
    " off and on."
)


@dataclass(slots=True)
class BeamOff:
    """Runs at rest, before a test closes the beam's contact.

    At its end `failure` is a sentence where the beam was not seen to be off.
    """

    polls_every_s: ClassVar[float | None] = None

    firmware: Firmware
    _command: ControllerCommand = field(init=False)
    _parser: ParserStateReported | None = None

    def __post_init__(self) -> None:
        """Prepare the two lines."""
        self._command = ControllerCommand(LINES, self.firmware, TIMEOUT_S)

    @property
    def failure(self) -> str | None:
        """The sentence of what failed; None where the beam is off, or before the end."""
        if self._command.failure is not None or not self.is_over:
            return self._command.failure
        is_off = self._parser is not None and self._parser.is_beam_off
        return None if is_off else STILL_ON

    @property
    def is_over(self) -> bool:
        """Whether the controller has answered or the time is up."""
        return self._command.is_over

    def begin(self, now_s: float) -> Orders:
        """Send the first line."""
        return self._command.begin(now_s)

    def handle_event(self, event: Event, now_s: float) -> Orders:
        """Send the second line after the first reply, and keep the parser state."""
        if isinstance(event, ParserStateReported):
            self._parser = event
        return self._command.handle_event(event, now_s)

    def tick(self, now_s: float) -> Orders:
        """Give up when it takes too long."""
        return self._command.tick(now_s)
