"""Where along a row the beam went out, estimated from the reports on either side."""

from dataclasses import dataclass
from typing import Final, Self

from etchdaemon.controller.events import StatusReported
from etchdaemon.run.pauses import Pauses
from etchwire.sheet import RowEntry

REST_ERROR_MM: Final = 0.02
CONTACT_S: Final = 0.01  # how late the contact may open


@dataclass(frozen=True, slots=True)
class Sighting:
    """A report of the head's place, and the times between which it was true."""

    asked_at_s: float
    heard_at_s: float
    x_mm: float
    y_mm: float
    feed_mm_per_min: float

    @property
    def true_at_s(self) -> float:
        """The middle of the time in which it was written."""
        return (self.asked_at_s + self.heard_at_s) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Where the beam went out, in the job's coordinates, and how far off that may be."""

    x_mm: float
    y_mm: float
    error_mm: float


def sighting(report: StatusReported, *, asked_at_s: float, heard_at_s: float) -> Sighting | None:
    """Return where `report` saw the head, or None when it did not say."""
    if report.work_mm is None:
        return None
    x_mm, y_mm = report.work_mm[:2]
    return Sighting(asked_at_s, heard_at_s, x_mm, y_mm, report.feed_mm_per_min or 0.0)


def at_rest(place: Sighting) -> Cut:
    """Return the cut of a beam that was on until the head stood still."""
    return Cut(x_mm=place.x_mm, y_mm=place.y_mm, error_mm=REST_ERROR_MM)


def in_motion(cut_at_s: float, *, seen: Sighting, rest: Sighting) -> Cut:
    """Return the cut of a beam that went out at `cut_at_s`, by the sighting nearest to it.

    Between the two the head went on at the speed that was seen, but not past its place of
    rest. The error is what it covers in the time that the sighting and the contact leave open.
    """
    speed_mm_per_s = seen.feed_mm_per_min / 60
    way_mm = rest.x_mm - seen.x_mm
    travelled_mm = min(speed_mm_per_s * (cut_at_s - seen.true_at_s), abs(way_mm))
    open_s = (seen.heard_at_s - seen.asked_at_s) / 2 + CONTACT_S
    return Cut(
        x_mm=seen.x_mm + (travelled_mm if way_mm >= 0 else -travelled_mm),
        y_mm=seen.y_mm,
        error_mm=speed_mm_per_s * open_s + REST_ERROR_MM,
    )


def nearest(cut_at_s: float, *, before: Sighting, after: Sighting | None) -> Sighting:
    """Return which of two sightings lies nearer in time to the cut."""
    if after is None or cut_at_s - before.true_at_s <= after.true_at_s - cut_at_s:
        return before
    return after


@dataclass(slots=True)
class CutMark:
    """The moment at which the beam went out in motion, and what was seen round it.

    `unseen_s` is how long before it may have been, when nobody looked meanwhile: a box whose
    heartbeat fails puts the beam out by itself. `late_s` is how long before it a contact had
    opened that may have put the beam out by the box's wiring. `was_unwatched`: only the guard was
    blind, so that what was seen round the mark says nothing of when the box did that.
    """

    at_s: float
    before: Sighting
    entry: RowEntry | None  # the row then in work, which the rest may lie beyond
    unseen_s: float = 0.0
    late_s: float = 0.0
    was_unwatched: bool = False
    after: Sighting | None = None

    @classmethod
    def at(cls, at_s: float, before: Sighting, entry: RowEntry | None, pauses: Pauses) -> Self:
        """Mark a cut as well as it is known after what was seen so late."""
        return cls(at_s, before, entry, pauses.unseen_s, pauses.late_s, pauses.was_unwatched)

    def note_sighting(self, sighting: Sighting) -> None:
        """Keep the first sighting after the cut: the braking has hardly begun by then."""
        self.after = self.after or sighting

    def place(self, rest: Sighting) -> Cut | None:
        """Return where it was; None when that may be in one row as well as in another."""
        if self.unseen_s:
            return self._unseen_place(rest)
        if self.was_unwatched:
            return None
        latest = self._place_at(self.at_s, rest)
        if not self.late_s:
            return latest
        first = self._place_at(self.at_s - self.late_s, rest)
        return Cut(
            x_mm=(first.x_mm + latest.x_mm) / 2,
            y_mm=latest.y_mm,
            error_mm=abs(latest.x_mm - first.x_mm) / 2 + max(first.error_mm, latest.error_mm),
        )

    def _place_at(self, at_s: float, rest: Sighting) -> Cut:
        return in_motion(at_s, seen=nearest(at_s, before=self.before, after=self.after), rest=rest)

    def _unseen_place(self, rest: Sighting) -> Cut | None:
        """Return the middle between the place where it was seen last and the place of rest."""
        if abs(rest.y_mm - self.before.y_mm) > REST_ERROR_MM:
            return None
        first = in_motion(self.at_s - self.unseen_s, seen=self.before, rest=rest)
        return Cut(
            x_mm=(first.x_mm + rest.x_mm) / 2,
            y_mm=rest.y_mm,
            error_mm=abs(rest.x_mm - first.x_mm) / 2 + first.error_mm,
        )
