"""Samples in, breaches out: which rules are broken at one instant, and why."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.conditions.samples import Condition, Sample
from etchdaemon.interlocks.rules.rule_table import Phase, Reaction, Rule


class BreachCause(StrEnum):
    """Why a rule is broken."""

    UNREAD = "unread"
    STALE = "stale"
    BAD = "bad"
    UNCONFIRMED = "unconfirmed"  # bad, and perhaps a flicker only
    SETTLING = "settling"  # good again, but not yet for the stable time


@dataclass(frozen=True, slots=True)
class RuleBreach:
    """A rule that is broken."""

    rule: Rule
    cause: BreachCause
    unread_s: float = 0.0  # since the last reading, where that is stale

    def reaction(self, phase: Phase) -> Reaction:
        """Return the reaction that is asked for in `phase`.

        What was not seen to be bad is never an emergency, nor a trip at idle, where it only
        forbids while it lasts. What is not confirmed trips in every phase.
        """
        reaction = self.rule.reaction(phase)
        if self.cause is BreachCause.BAD:
            return reaction
        if self.cause is BreachCause.UNCONFIRMED:
            return min(reaction, Reaction.TRIP)
        return min(reaction, Reaction.FORBID if phase is Phase.IDLE else Reaction.TRIP)

    @property
    def sentence(self) -> str:
        """The sentence for a person."""
        if self.cause is BreachCause.STALE and self.rule.requires is Condition.GUARD_ALIVE:
            return UNWATCHED.format(unread_s=self.unread_s)
        if self.cause is BreachCause.UNCONFIRMED:
            return FLICKER
        if self.cause in _UNSEEN and self.rule.needs:
            return _UNSEEN[self.cause].format(name=self.rule.name)
        return self.rule.message


UNWATCHED: Final = (
    "Nobody watched the interlocks for {unread_s:.1f} s: this computer was stopped or overloaded,"
    " or the program hangs. Find out by what, then reset."
)
FLICKER: Final = (
    "Fire or smoke was seen for a moment. Keep the lid shut, have an extinguisher at hand, and look"
    " into the box; reset only when nothing glows or smokes. Seen again within ten seconds it is an"
    " emergency."
)
_UNSEEN: Final = {
    BreachCause.UNREAD: "The input behind “{name}” cannot be read, and counts as bad. Look at its"
    " plug, its wire and its board, then reset.",
    BreachCause.STALE: "The input behind “{name}” was last read too long ago, and counts as bad."
    " Look at its plug, its wire and its board, then reset.",
}


def rule_breaches(
    rules: Iterable[Rule], samples: Mapping[Condition, Sample], now_s: WallSeconds
) -> tuple[RuleBreach, ...]:
    """Return the rules that are broken at `now_s`, in table order.

    An unread condition is unsafe at once: the trip delay is only for what was seen to be bad.
    When nobody looks, every reading is old; that is one cause and one breach, the guard's.
    """
    judged = [_breach(rule, samples.get(rule.requires), now_s) for rule in rules]
    breaches = tuple([breach for breach in judged if breach is not None])
    if not any(
        breach.rule.requires is Condition.GUARD_ALIVE and _is_old(breach) for breach in breaches
    ):
        return breaches
    return tuple(
        breach
        for breach in breaches
        if breach.rule.requires is Condition.GUARD_ALIVE or not _is_old(breach)
    )


def _breach(rule: Rule, sample: Sample | None, now_s: WallSeconds) -> RuleBreach | None:
    cause = _cause(rule, sample, now_s)
    if cause is None:
        return None
    return RuleBreach(
        rule, cause, now_s - sample.read_at_s if sample and cause is BreachCause.STALE else 0.0
    )


def _is_old(breach: RuleBreach) -> bool:
    return breach.cause is BreachCause.STALE


def _cause(rule: Rule, sample: Sample | None, now_s: WallSeconds) -> BreachCause | None:
    if sample is None:
        return BreachCause.UNREAD
    if now_s - sample.read_at_s > rule.stale_after_s:
        return BreachCause.STALE
    if sample.bad_since_s is None or max(now_s - sample.bad_since_s, 0.0) < rule.trip_delay_s:
        return None
    if sample.is_good:
        return BreachCause.SETTLING
    return BreachCause.BAD if sample.is_confirmed else BreachCause.UNCONFIRMED
