"""The trips that wait for a person's reset: none clears by itself."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from etchdaemon.errors import CommandRefused
from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.rules.evaluation import RuleBreach
from etchdaemon.interlocks.rules.rule_table import Air, Phase, Reaction, Rule


@dataclass(frozen=True, slots=True)
class Trip:
    """A broken rule: the reaction it asked for, when and in which phase of the box."""

    rule: Rule
    reaction: Reaction
    sentence: str
    at_s: float
    phase: Phase

    @property
    def air(self) -> Air:
        """What this trip wants of the extraction; only a fire that was seen switches it off."""
        is_seen = self.reaction is Reaction.EMERGENCY
        return self.rule.air if is_seen or self.rule.air is not Air.OFF else Air.AS_IT_IS

    def reaction_at(self, now_s: WallSeconds) -> Reaction:
        """Return the reaction asked for now: a hold becomes a trip after its rule's limit."""
        limit_s = self.rule.trip_after_hold_s
        if self.reaction is not Reaction.HOLD or limit_s is None or now_s - self.at_s < limit_s:
            return self.reaction
        return Reaction.TRIP


class Latch:
    """Remembers every trip until a person resets it by name."""

    def __init__(self) -> None:
        self._trips: dict[str, Trip] = {}
        self._unreported: list[Trip] = []

    @property
    def trips(self) -> tuple[Trip, ...]:
        """The trips that wait for a reset, oldest first."""
        return tuple(self._trips.values())

    @property
    def has_unreported(self) -> bool:
        """Whether `take_unreported` would return anything."""
        return bool(self._unreported)

    def take_unreported(self) -> tuple[Trip, ...]:
        """Return every trip that is new or has become worse since the last call."""
        unreported, self._unreported = tuple(self._unreported), []
        return unreported

    def note(self, breaches: Iterable[RuleBreach], phase: Phase, now_s: WallSeconds) -> None:
        """Latch every breach for which `phase` asks for more than to forbid."""
        for breach in breaches:
            reaction = breach.reaction(phase)
            latched = self._trips.get(breach.rule.name)
            if reaction <= Reaction.FORBID or (latched and latched.reaction >= reaction):
                continue
            began_s = latched.at_s if latched else now_s
            trip = Trip(breach.rule, reaction, breach.sentence, began_s, phase)
            self._trips[breach.rule.name] = trip
            self._unreported.append(trip)

    def air(self) -> Air:
        """Return what the trips want of the extraction; off wins, because it means fire."""
        demands = {trip.air for trip in self._trips.values()}
        return Air.OFF if Air.OFF in demands else Air.ON if Air.ON in demands else Air.AS_IT_IS

    def reset(
        self, names: Collection[str], breaches: Iterable[RuleBreach], *, is_somebody_there: bool
    ) -> tuple[Trip, ...]:
        """Clear the trips called `names` and return them; raise CommandRefused, and clear none.

        A person resets what they were shown: every trip is named, so that one that came in the
        meantime is not cleared unseen. `breaches` are those of this moment.
        """
        trips = [self._named(name) for name in names]
        still = {breach.rule.name: breach for breach in breaches}
        for trip in trips:
            _refuse_while_bad(trip, still.get(trip.rule.name))
            if trip.rule.is_reset_at_machine and not is_somebody_there:
                raise CommandRefused(
                    f"“{trip.rule.name}” is reset at the machine: press its button "
                    "(or, where there is none, open and close the lid), then reset within a minute."
                )
        for trip in trips:
            del self._trips[trip.rule.name]
        return tuple(trips)

    def _named(self, name: str) -> Trip:
        try:
            return self._trips[name]
        except KeyError:
            raise CommandRefused(
                f"“{name}” has not tripped, so there is nothing to reset."
            ) from None


def _refuse_while_bad(trip: Trip, breach: RuleBreach | None) -> None:
    if breach is not None:
        raise CommandRefused(f"“{trip.rule.name}” is not good again yet: {breach.sentence}")
