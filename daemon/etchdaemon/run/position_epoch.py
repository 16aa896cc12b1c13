"""The position epoch: while it lasts, the controller's coordinates mean the same places.

A controller keeps its offsets over a restart and loses its zero. After one the same coordinates
are another place and no answer shows it, so that coordinates that agree prove nothing. An origin
therefore belongs to the epoch in which a person set it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import dist, inf
from typing import Final, TypeAlias

from etchdaemon.controller.events import Place, StatusReported
from etchdaemon.controller.facts import Facts
from etchdaemon.run.moving import SAME_PLACE_MM, Spot

Ends: TypeAlias = tuple[Spot, Spot]  # of the travel, in the machine's coordinates: low, high

OWN_RESET_S: Final = 3.0  # a greeting so soon after a reset of ours is its answer ...
GREETINGS_OF_A_RESET: Final = 2  # ... and some boards greet twice
WRITTEN_MM: Final = 0.002  # the controller keeps offsets as single-precision numbers

SYSTEM: Final = "G54"
OFFSETS: Final = ("G54", "G55", "G56", "G57", "G58", "G59", "G92", "TLO")
_TEMPORARY: Final = ("G92", "TLO")  # some controllers lose these at a reset, others do not

# Why an epoch ended.
OPENED: Final = "The connection to the controller was opened anew, and that may restart it."
LOST: Final = "The connection to the controller was lost."
RESTARTED: Final = "The controller has restarted by itself."
ALARMED: Final = "The controller has raised an alarm."
SILENT: Final = "The controller did not answer for a while."
PUSHED: Final = "The head's place has changed at rest without a move of this program."
STOPPED_DEAD: Final = "The controller was stopped or reset while the head moved."
HOMED: Final = "The machine was homed."
NOT_HOMED: Final = "Homing did not come to its end."

UNREAD: Final = "The controller does not say where it keeps the origin."
NOT_TAKEN: Final = "The controller does not keep the origin as it was told to."
SHIFTED: Final = (
    "The offsets in the controller are no longer what they were when the origin was set"
    " ({what}): another program or the job itself has changed them."
)

# What a person has to do then.
SET: Final = "Bring the head to the picture's origin and set the origin."
HOME_OR_SET: Final = (
    "Home the machine, or bring the head to the picture's origin and set the origin."
)


@dataclass(frozen=True, slots=True)
class Origin:
    """The origin that a person set: every offset as the controller reported it then."""

    offsets_mm: Mapping[str, Place]

    @property
    def place_mm(self) -> Spot:
        """Its place in the machine's coordinates."""
        return _spot(self.offsets_mm[SYSTEM])


class PositionEpoch:
    """The present epoch: its number, the origin set in it, and why it began.

    Times are monotonic seconds. `number` grows with every epoch since the daemon's start.
    `because` is the sentence why the epoch before it ended. `ends_mm` are the ends of the travel,
    known only where the epoch began with homing.
    """

    def __init__(self) -> None:
        self.number = 1
        self.because = OPENED
        self.origin: Origin | None = None
        self.ends_mm: Ends | None = None
        self._rest_mm: Spot | None = None
        self._reset_at_s = -inf
        self._greetings = 0

    def end(self, because: str) -> None:
        """Begin another epoch without origin, ends and place of rest."""
        self.number += 1
        self.because = because
        self.origin = self.ends_mm = self._rest_mm = None

    # What happens.

    def note_reset(self, now_s: float) -> None:
        """Note a reset of ours: its greeting ends no epoch."""
        self._reset_at_s = now_s
        self._greetings = 0

    def note_opened(self, now_s: float) -> None:
        """End, because the port was opened; the greeting that follows belongs to that."""
        self.end(OPENED)
        self.note_reset(now_s)

    def note_greeting(self, now_s: float) -> None:
        """End, unless the greeting answers a reset of ours."""
        self._greetings += 1
        is_late = now_s - self._reset_at_s > OWN_RESET_S
        if is_late or self._greetings > GREETINGS_OF_A_RESET:
            self.end(RESTARTED)

    def note_move(self) -> None:
        """Note that a move of ours follows, which changes the place of rest."""
        self._rest_mm = None

    def note_report(self, report: StatusReported, *, is_ours: bool) -> None:
        """End where the head rests at another place without a move of ours.

        A head in motion is not judged: somebody may move it at the controller, and its next rest
        shows that.
        """
        place_mm = None if report.machine_mm is None else _spot(report.machine_mm)
        if is_ours:
            self._rest_mm = place_mm if report.is_at_rest else None
        elif report.is_at_rest and place_mm is not None:
            before_mm, self._rest_mm = self._rest_mm, self._rest_mm or place_mm
            if before_mm is not None and dist(place_mm, before_mm) > SAME_PLACE_MM:
                self.end(PUSHED)
                self._rest_mm = place_mm

    # The origin.

    def take_origin(self, facts: Facts, place_mm: Place | None) -> str | None:
        """Take the origin as read back; return the sentence where it is not as written, else None.

        `place_mm` is its intended place in the machine's coordinates.
        """
        self.origin = None
        offsets_mm = offsets_of(facts)
        if SYSTEM not in offsets_mm or facts.parser is None or place_mm is None:
            return UNREAD
        is_written = dist(_spot(offsets_mm[SYSTEM]), _spot(place_mm)) <= WRITTEN_MM
        is_alone = not any(any(offsets_mm.get(name, ())) for name in _TEMPORARY)
        if not (is_written and is_alone and SYSTEM in facts.parser.words):
            return NOT_TAKEN
        self.origin = Origin(offsets_mm)
        self._reset_at_s = -inf  # a greeting from now on answers no reset
        return None

    def read_back(self, facts: Facts) -> None:
        """Forget the origin where the controller's offsets have changed."""
        found = [] if self.origin is None else differences(self.origin, facts)
        if found:
            self.origin = None
            self.because = SHIFTED.format(what="; ".join(found))

    def request(self, *, can_home: bool) -> str | None:
        """Return the sentence that asks for an origin while none is known, else None."""
        if self.origin is not None:
            return None
        is_homed = self.ends_mm is not None
        return f"{self.because} {HOME_OR_SET if can_home and not is_homed else SET}"


def offsets_of(facts: Facts) -> dict[str, Place]:
    """Return every offset that shifts a job, by its name, as last read."""
    return {name: facts.origins_mm[name] for name in OFFSETS if name in facts.origins_mm}


def differences(origin: Origin, facts: Facts) -> list[str]:
    """Return the differences between the controller's offsets and those of `origin`, in words."""
    now_mm, then_mm = offsets_of(facts), origin.offsets_mm
    found = [
        f"{name} was {_written(then_mm.get(name))} and is {_written(now_mm.get(name))}"
        for name in OFFSETS
        if now_mm.get(name) != then_mm.get(name)
    ]
    words = () if facts.parser is None else facts.parser.words
    if SYSTEM not in words:
        in_force = [word for word in words if word in OFFSETS] or ["another"]
        found.append(f"{SYSTEM} was in force and {in_force[0]} is")
    return found


def _spot(place_mm: Place) -> Spot:
    return (place_mm[0], place_mm[1])


def _written(place_mm: Place | None) -> str:
    return "not said" if place_mm is None else " ".join(f"{value:z.3f}" for value in place_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierOrigin:
    """An origin that can be found again on a homed machine, by its machine coordinates.

    `ends_mm` are the ends of the travel when it was set: where homing gives others, the coordinates
    mean other places. `run` is the last etch that began from it.
    """

    place_mm: Spot
    ends_mm: Ends
    run: int | None = None

    @property
    def name(self) -> str:
        """Its name in a sentence."""
        return (
            "the origin that was set last" if self.run is None else f"the origin of etch {self.run}"
        )

    def is_there(self, epoch: PositionEpoch) -> bool:
        """Return whether it may be offered: the epoch began with homing, to the same ends."""
        if epoch.ends_mm is None or epoch.origin is not None:
            return False
        pairs = zip(epoch.ends_mm, self.ends_mm, strict=True)
        return all(dist(now, then) <= SAME_PLACE_MM for now, then in pairs)
