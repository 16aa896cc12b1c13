"""Where the beam was cut: row and place along it, from the same sightings of the head.

Each sighting bounds the cut from both sides: the head was there at some time between the request
and its report, and it is no faster than the job allows. The stretch that all of them leave is the
cut's error; where that spans a turn, both rows are named.
"""

from dataclasses import dataclass, field
from typing import Final, Self

from etchdaemon.controller.events import StatusReported
from etchdaemon.run.loop_stalls import LoopStalls
from etchdaemon.run.row_path import NEAR_MM, RowPath, Spot

CONTACT_S: Final = 0.01  # how late the contact may open
MOST_ROWS: Final = 2  # that a person is asked to choose from
_MOST_SIGHTINGS: Final = 4
_WEAK_SHARE: Final = 1 / 3
_POWER_STEP_S: Final = 0.01


@dataclass(frozen=True, slots=True)
class Sighting:
    """A reported place of the head, and the times between which it was there."""

    asked_at_s: float
    heard_at_s: float
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The place in one row where the beam was cut, in the job's coordinates, with its error.

    `place` is the row's in the index.
    """

    place: int
    x_mm: float
    error_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CutFound:
    """What is known of a cut: the rows in which it may lie, in order; empty where the path is dark.

    All rows before `first_place` of the index are done.
    """

    first_place: int
    cuts: tuple[Cut, ...] = ()

    @property
    def is_before_all(self) -> bool:
        """Whether no dot had been burnt."""
        return not self.first_place and not self.cuts

    @property
    def is_known(self) -> bool:
        """Whether the rows are few enough to choose from by eye."""
        return len(self.cuts) <= MOST_ROWS


def sighting(report: StatusReported, *, asked_at_s: float, heard_at_s: float) -> Sighting | None:
    """Return the place of the head in `report`; None where it does not say."""
    if report.work_mm is None:
        return None
    x_mm, y_mm = report.work_mm[:2]
    return Sighting(asked_at_s, heard_at_s, x_mm, y_mm)


@dataclass(slots=True, kw_only=True)
class CutMark:
    """The times between which the beam was cut in motion, and the sightings around them.

    `was_unwatched`: only the guard did not look, so that the time of the cut is unknown. Sightings
    after the cut are added to `seen`.
    """

    from_s: float
    to_s: float
    was_unwatched: bool = False
    seen: list[Sighting] = field(default_factory=list)

    @classmethod
    def at(cls, at_s: float, seen: list[Sighting], stalls: LoopStalls) -> Self:
        """Mark a cut that the loop made, or found, at `at_s`."""
        return cls(
            from_s=at_s - stalls.cut_late_s,
            to_s=at_s + CONTACT_S,
            was_unwatched=stalls.was_unwatched,
            seen=seen,
        )

    def note_sighting(self, sighting: Sighting) -> None:
        """Keep the first sightings after the cut, while braking has hardly begun."""
        if len(self.seen) < _MOST_SIGHTINGS:
            self.seen.append(sighting)

    def bounds(self) -> list[list[float]]:
        """Return for each sighting x and y in mm, and how long before and after it the cut may lie.

        Both times are the longest possible, in seconds.
        """
        return [
            [
                seen.x_mm,
                seen.y_mm,
                max(seen.heard_at_s - self.from_s, 0.0),
                max(self.to_s - seen.asked_at_s, 0.0),
            ]
            for seen in self.seen
        ]

    def found(
        self, path: RowPath, *, first: Spot, last: Spot, rest: Sighting, beam_lag_s: float
    ) -> CutFound | None:
        """Return where the cut lies; None where that cannot be told.

        All sightings lie between the spots `first` and `last` of the path. The light is
        `beam_lag_s` behind the head, so the way that it had not reached is burnt again.
        """
        if self.was_unwatched:
            return None
        early, late, since = first, last, first
        for seen, (_, _, back_s, ahead_s) in zip(self.seen, self.bounds(), strict=True):
            here = _spots(path, seen, since, last)
            if here is None:
                continue
            since = here[0]
            early = max(early, path.back(here[0], back_s))
            late = min(late, path.ahead(here[1], ahead_s))
        stop = _spots(path, rest, since, last)
        late = late if stop is None else min(late, stop[1])
        return found_between(path, path.back(min(early, late), beam_lag_s), late)


def at_rest(
    path: RowPath, *, first: Spot, last: Spot, rest: Sighting, weak_s: float
) -> CutFound | None:
    """Return the cut of a beam that was on until the head stood still, weak for `weak_s`."""
    here = _spots(path, rest, first, last)
    return None if here is None else found_between(path, path.back(here[0], weak_s), here[1])


def weak_s(braking_s: float) -> float:
    """Return how long before rest, at the row's speed, the beam was too weak to count as burnt.

    Dynamic power falls with the speed, in steps of 10 ms, and what it darkens falls faster: the
    last ninth of the braking way, burnt at less than a third of the power, and half a step more
    count as open. `braking_s` is how long the head takes to rest.
    """
    return braking_s / 2 * _WEAK_SHARE**2 + _POWER_STEP_S / 2


def found_between(path: RowPath, early: Spot, late: Spot) -> CutFound:
    """Return the rows that a cut between two spots leaves unfinished."""
    first_place = (early[0] + 1) // 2
    cuts = []
    for place in range(first_place, late[0] // 2 + 1):
        burnt_mm = path.burnt_mm(place)
        if burnt_mm is None:
            continue
        from_mm = early[1] if early[0] == 2 * place else 0.0
        to_mm = late[1] if late[0] == 2 * place else burnt_mm[1]
        if from_mm < burnt_mm[1] and to_mm > burnt_mm[0]:
            cuts.append(_cut(path, place, max(from_mm, burnt_mm[0]), min(to_mm, burnt_mm[1])))
        elif from_mm >= burnt_mm[1]:
            first_place = place + 1
    return CutFound(first_place=cuts[0].place if cuts else first_place, cuts=tuple(cuts))


def _spots(path: RowPath, seen: Sighting, first: Spot, last: Spot) -> tuple[Spot, Spot] | None:
    """Return the first and last spot of a sighting; on the way home only as a last resort."""
    here = path.near(seen.x_mm, seen.y_mm, first, last)
    return here or path.near(seen.x_mm, seen.y_mm, (path.end[0], 0.0), path.end)


def _cut(path: RowPath, place: int, from_mm: float, to_mm: float) -> Cut:
    return Cut(
        place=place,
        x_mm=path.x_mm((2 * place, (from_mm + to_mm) / 2)),
        error_mm=(to_mm - from_mm) / 2 + NEAR_MM,
    )
