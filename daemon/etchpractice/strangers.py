"""What else may hang on the cable: devices that are no motion controller."""

from collections.abc import Callable, Mapping
from typing import Final, Protocol

# NMEA 0183 (from memory): sentences begin with $, end with a checksum and CR LF; place invented.
_SENTENCES: Final = (
    b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\r\n"
    b"$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39\r\n"
)
_EVERY_S: Final = 1.0


class Stranger(Protocol):
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
        self._heard = b""

    def hear(self, data: bytes) -> None:
        """Keep `data` to say it."""
        self._heard += data

    def say(self, now_s: float) -> bytes:  # noqa: ARG002 - it says so at once
        """Return what it was told."""
        heard, self._heard = self._heard, b""
        return heard


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
        return _SENTENCES


STRANGERS: Final[Mapping[str, Callable[[], Stranger]]] = {
    "modem": Modem,
    "receiver": Receiver,
}
