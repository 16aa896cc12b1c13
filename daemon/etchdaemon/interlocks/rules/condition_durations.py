"""How long each condition has been as it is; values only."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from etchdaemon.interlocks.clocks import WallSeconds
from etchdaemon.interlocks.rules.evaluation import Finding, Why


@dataclass(frozen=True, slots=True)
class Standing:
    """Why each rule was not kept when it was last looked at, and when that last changed."""

    why: Mapping[str, Why] = field(default_factory=dict)
    since_s: Mapping[str, float] = field(default_factory=dict)

    def after(self, found: Collection[Finding], now_s: WallSeconds) -> "Standing":
        """Return how things stand after a look; the same where nothing has changed."""
        why = {finding.rule.name: finding.why for finding in found}
        if why == self.why:
            return self
        changed = [name for name in {*why, *self.why} if why.get(name) != self.why.get(name)]
        return Standing(why, {**self.since_s, **dict.fromkeys(changed, now_s)})

    def lasts_s(self, name: str, now_s: WallSeconds) -> float | None:
        """Return for how long; None where it has never been otherwise since the daemon began."""
        since_s = self.since_s.get(name)
        return None if since_s is None else max(0.0, now_s - since_s)
