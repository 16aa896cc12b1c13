"""How often somebody may try: buckets that empty with each try and fill with time."""

from collections import OrderedDict
from dataclasses import dataclass
from typing import Final

_MOST_NAMES: Final = 1000  # the longest unseen is forgotten first: it is full again anyway


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """So many tries at once, and one more after every `one_more_after_s`."""

    tries: int
    one_more_after_s: float


class Buckets:
    """One bucket a name; holds no clock."""

    def __init__(self, allowance: Allowance) -> None:
        self._allowance = allowance
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def would_wait_s(self, name: str, now_s: float) -> float:
        """Return how long `name` has to wait for its next try; 0: it has one."""
        return max(0.0, 1 - self._left(name, now_s)) * self._allowance.one_more_after_s

    def wait_s(self, name: str, now_s: float) -> float:
        """Take a try from `name` and return 0, or return how long it has to wait for one."""
        wait_s = self.would_wait_s(name, now_s)
        if wait_s > 0:
            return wait_s
        self._buckets[name] = (self._left(name, now_s) - 1, now_s)
        self._buckets.move_to_end(name)
        if len(self._buckets) > _MOST_NAMES:
            self._buckets.popitem(last=False)
        return 0.0

    def _left(self, name: str, now_s: float) -> float:
        left, at_s = self._buckets.get(name, (float(self._allowance.tries), now_s))
        refilled = left + (now_s - at_s) / self._allowance.one_more_after_s
        return min(refilled, float(self._allowance.tries))
