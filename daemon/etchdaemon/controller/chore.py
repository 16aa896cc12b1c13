"""One line sent alone, at rest, on a person's word: home, unlock, set the origin."""

from dataclasses import dataclass
from typing import Final

from etchdaemon.controller.events import AlarmRaised, Event, Greeted, LineAccepted, LineRefused
from etchdaemon.controller.firmware import Firmware
from etchdaemon.controller.orders import NOTHING, Orders, Say

HOME: Final = b"$H"
UNLOCK: Final = b"$X"
# It costs the controller's memory a write and holds up its interrupts: nothing else may be on
# its way meanwhile.
SET_ORIGIN: Final = b"G10L20P1X0Y0"

NO_ANSWER: Final = "The controller did not answer. Look at the machine and ask again."
RESTARTED: Final = "The controller restarted meanwhile. Ask again."


@dataclass(slots=True)
class Chore:
    """Sends `line` and waits for its reply; `failure` is a sentence when it came to nothing.

    No report is asked for meanwhile: a homing machine answers only in gaps.
    """

    line: bytes
    firmware: Firmware
    patience_s: float
    failure: str | None = None
    is_over: bool = False
    _until_s: float = 0.0

    @property
    def polls_every_s(self) -> float | None:
        """Never."""
        return None

    def begin(self, now_s: float) -> Orders:
        """Send the line."""
        self._until_s = now_s + self.patience_s
        return (Say(self.line),)

    def hear(self, event: Event, now_s: float) -> Orders:  # noqa: ARG002 - a Sequence's signature
        """Wait for the reply."""
        match event:
            case LineAccepted():
                self.is_over = True
            case LineRefused(code=code):
                self._fail(str(self.firmware.error(code)))
            case AlarmRaised(code=code):
                self._fail(str(self.firmware.alarm(code)))
            case Greeted():
                self._fail(RESTARTED)
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Give up when it takes too long."""
        if not self.is_over and now_s >= self._until_s:
            self._fail(NO_ANSWER)
        return NOTHING

    def _fail(self, sentence: str) -> None:
        self.failure = sentence
        self.is_over = True
