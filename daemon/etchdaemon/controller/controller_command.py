"""Lines sent one by one, at rest, on a person's word: home, unlock, set the origin."""

from dataclasses import dataclass
from typing import ClassVar, Final

from etchdaemon.controller.events import AlarmRaised, Event, Greeted, LineAccepted, LineRefused
from etchdaemon.controller.firmware import Firmware
from etchdaemon.controller.orders import NOTHING, Orders, SendLine

HOME: Final = b"$H"
UNLOCK: Final = b"$X"
# Every other offset is taken back first: some controllers lose those at a reset, and the origin
# would shift with them.
_ALONE: Final = (b"G21G54", b"G92.1", b"G49")
# It costs the controller's memory a write and holds up its interrupts: nothing else may be on
# its way meanwhile.
SET_ORIGIN: Final = (*_ALONE, b"G10L20P1X0Y0")

NO_ANSWER: Final = "The controller did not answer. Look at the machine and ask again."
RESTARTED: Final = "The controller restarted meanwhile. Ask again."


def find_origin(place_mm: tuple[float, float]) -> tuple[bytes, ...]:
    """Return the lines that put the origin at a place in the machine's coordinates."""
    x_mm, y_mm = place_mm
    return (*_ALONE, f"G10L2P1X{x_mm:z.3f}Y{y_mm:z.3f}".encode("ascii"))


def failure_by(event: Event, firmware: Firmware) -> str | None:
    """Return the sentence for an event that ends a command without success; None for others."""
    match event:
        case LineRefused(code=code):
            return str(firmware.error(code))
        case AlarmRaised(code=code):
            return str(firmware.alarm(code))
        case Greeted():
            return RESTARTED
    return None


@dataclass(slots=True)
class ControllerCommand:
    """Sends `lines`, each when the one before it is answered, and waits for the last reply.

    At its end `failure` is a sentence where it failed. No report is requested meanwhile: a homing
    machine answers with gaps.
    """

    polls_every_s: ClassVar[float | None] = None

    lines: tuple[bytes, ...]
    firmware: Firmware
    timeout_s: float
    failure: str | None = None
    is_over: bool = False
    _sent: int = 1
    _until_s: float = 0.0

    @property
    def is_homing(self) -> bool:
        """Whether it homes the machine."""
        return HOME in self.lines

    def begin(self, now_s: float) -> Orders:
        """Send the first line."""
        self._until_s = now_s + self.timeout_s
        return (SendLine(self.lines[0]),)

    def handle_event(self, event: Event, now_s: float) -> Orders:  # noqa: ARG002 - a Sequence's signature
        """Send the next line at each reply."""
        match event:
            case LineAccepted() if self._sent < len(self.lines):
                self._sent += 1
                return (SendLine(self.lines[self._sent - 1]),)
            case LineAccepted():
                self.is_over = True
            case _ if (sentence := failure_by(event, self.firmware)) is not None:
                self._fail(sentence)
        return NOTHING

    def tick(self, now_s: float) -> Orders:
        """Give up when it takes too long."""
        if not self.is_over and now_s >= self._until_s:
            self._fail(NO_ANSWER)
        return NOTHING

    def _fail(self, sentence: str) -> None:
        self.failure = sentence
        self.is_over = True
