"""How long each condition has been as it is; values only."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.rules.evaluation import BreachCause, RuleBreach


@dataclass(frozen=True, slots=True)
class ConditionDurations:
    """Why each rule was broken at the last look (none: it was kept), and since when that is so."""

    causes: Mapping[str, BreachCause] = field(default_factory=dict)
    since_s: Mapping[str, float] = field(default_factory=dict)

    def after(self, breaches: Collection[RuleBreach], now_s: WallSeconds) -> "ConditionDurations":
        """Return the durations after a look; the same object where nothing has changed."""
        now = {breach.rule.name: breach.cause for breach in breaches}
        if now == self.causes:
            return self
        changed = [name for name in {*now, *self.causes} if now.get(name) != self.causes.get(name)]
        return ConditionDurations(now, {**self.since_s, **dict.fromkeys(changed, now_s)})

    def lasts_s(self, name: str, now_s: WallSeconds) -> float | None:
        """Return for how long rule `name` has been so; None where it has not changed yet."""
        since_s = self.since_s.get(name)
        return None if since_s is None else max(0.0, now_s - since_s)
