"""The controller's lines as values, one for each."""

from dataclasses import dataclass
from typing import Final, TypeAlias

from etchdaemon.controller.firmware import Firmware

# The longest line that either firmware sends is an echo of one of ours with its verdict: 255
# characters and a few. Without a bound a babbling device would fill memory.
LONGEST_LINE_BYTES: Final = 512

Place: TypeAlias = tuple[float, ...]  # x, y, z ... in mm


@dataclass(frozen=True, slots=True)
class Greeted:
    """The controller has just started and forgotten every line that it had.

    `firmware` is None for a kind or version we do not know.
    """

    firmware: Firmware | None
    text: str


@dataclass(frozen=True, slots=True)
class LineAccepted:
    """The oldest line in flight was read and queued; not yet: was run."""


@dataclass(frozen=True, slots=True)
class LineRefused:
    """The oldest line in flight was refused and thrown away."""

    code: int
    line: str


@dataclass(frozen=True, slots=True)
class StrayReplyReceived:
    """A reply came when no line was in flight."""

    text: str


@dataclass(frozen=True, slots=True)
class CountContradicted:
    """The controller's buffer holds more than is counted as in flight.

    A reply too many was taken for that of a line: from now on bytes may be dropped without
    notice.
    """

    excess_bytes: int


@dataclass(frozen=True, slots=True)
class AlarmRaised:
    """The controller stopped by itself and locked."""

    code: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StatusReported:
    """What the machine is doing at this instant; None where the report did not say.

    The feed and the power setting are those of the motion last prepared, up to 50 ms ahead of
    the head. The 32-bit firmware shows a stale feed at rest: judge rest by the state.
    """

    state: str
    substate: int | None = None
    machine_mm: Place | None = None
    work_mm: Place | None = None
    offset_mm: Place | None = None
    planner_free_blocks: int | None = None
    receive_free_bytes: int | None = None
    feed_mm_per_min: float | None = None
    power_setting: float | None = None
    pins: str = ""
    overrides_percent: tuple[int, int, int] | None = None  # feed, rapid, power

    @property
    def is_idle(self) -> bool:
        """Whether nothing moves and nothing is held."""
        return self.state == "Idle"

    @property
    def is_held(self) -> bool:
        """Whether motion was held and has come to rest."""
        return self.state == "Hold" and self.substate == 0

    @property
    def has_closed_door(self) -> bool:
        """Whether the door was opened and is closed again; no line is read until a cycle start."""
        return self.state == "Door" and self.substate == 0

    @property
    def is_at_rest(self) -> bool:
        """Whether the axes stand still, by state."""
        if self.state == "Door":
            return self.substate in (0, 1)  # closed, or open and stopped
        return self.is_held or self.state in ("Idle", "Alarm", "Check", "Sleep")


@dataclass(frozen=True, slots=True)
class SettingReported:
    """One of the controller's settings."""

    number: int
    value: str


@dataclass(frozen=True, slots=True)
class BuildReported:
    """How the firmware was built: option letters and the sizes of its buffers."""

    letters: str
    planner_blocks: int
    receive_bytes: int


@dataclass(frozen=True, slots=True)
class VersionReported:
    """The firmware's version, as it writes it."""

    text: str


@dataclass(frozen=True, slots=True)
class ParserStateReported:
    """The modal words in force."""

    words: tuple[str, ...]

    @property
    def is_beam_off(self) -> bool:
        """Whether the beam is switched off."""
        return "M5" in self.words


@dataclass(frozen=True, slots=True)
class OffsetReported:
    """One of the stored or temporary origins, by its name."""

    name: str
    place_mm: Place


@dataclass(frozen=True, slots=True)
class MessagePushed:
    """A message of the controller."""

    text: str


@dataclass(frozen=True, slots=True)
class PushReceived:
    """A line that is no reply and has no use here."""

    text: str


@dataclass(frozen=True, slots=True)
class Unreadable:
    """Bytes that are no line of this protocol: a disturbed line, or another device.

    Of a line that is too long it holds the beginning.
    """

    data: bytes

    @property
    def may_be_a_reply(self) -> bool:
        """Whether a garbled reply could look like this; reports and pushes are bracketed.

        A line that is too long may have swallowed replies, whatever it begins with.
        """
        is_too_long = len(self.data) >= LONGEST_LINE_BYTES
        return is_too_long or self.data[:1] not in (b"<", b"[", b"$", b">")


Event: TypeAlias = (
    Greeted
    | LineAccepted
    | LineRefused
    | StrayReplyReceived
    | CountContradicted
    | AlarmRaised
    | StatusReported
    | SettingReported
    | BuildReported
    | VersionReported
    | ParserStateReported
    | OffsetReported
    | MessagePushed
    | PushReceived
    | Unreadable
)
