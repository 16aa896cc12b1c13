"""What else may hang on the cable: devices that are no motion controller."""

from collections.abc import Callable, Mapping
from typing import Final, Protocol

# NMEA 0183 (from memory): sentences begin with $, end with a checksum and CR LF. Ours are invented.
SENTENCES: Final = (
    b"$GPGGA,090000,0000.000,N,00000.000,E,1,05,1.5,10.0,M,0.0,M,,*4B\r\n"
    b"$GPGSA,A,3,02,06,11,19,24,,,,,,,,2.8,1.5,2.4*30\r\n"
    b"$GPRMC,090000,A,0000.000,N,00000.000,E,0.0,0.0,010126,0.0,E*7B\r\n"
)
_EVERY_S: Final = 1.0


class ForeignDevice(Protocol):
    """A device that is no motion controller."""

    def hear(self, data: bytes) -> None:
        """Take what the host says."""
        ...

    def say(self, now_s: float) -> bytes:
        """Return what it says by now."""
        ...


class Modem:
    """Says what it is told."""

    def __init__(self) -> None:
        self._received = b""

    def hear(self, data: bytes) -> None:
        """Keep `data` to say it."""
        self._received += data

    def say(self, now_s: float) -> bytes:  # noqa: ARG002 - it says so at once
        """Return what it was told."""
        received, self._received = self._received, b""
        return received


class Receiver:
    """Talks by itself once a second, as a satellite receiver does, and hears nothing."""

    def __init__(self) -> None:
        self._again_at_s = 0.0

    def hear(self, data: bytes) -> None:
        """Let `data` go by."""

    def say(self, now_s: float) -> bytes:
        """Return the sentences that are due."""
        if now_s < self._again_at_s:
            return b""
        self._again_at_s = now_s + _EVERY_S
        return SENTENCES


FOREIGN_DEVICES: Final[Mapping[str, Callable[[], ForeignDevice]]] = {
    "modem": Modem,
    "receiver": Receiver,
}
