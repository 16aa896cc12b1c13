"""Confirmation of a flame: where a shop's file asks for it, before it is an emergency."""

from dataclasses import dataclass, replace
from typing import Final

from etchdaemon.interlocks.clocks import WallSeconds

MOST_CONFIRM_S: Final = 0.5
CONFIRM_WITHIN_S: Final = 10.0
BOUNCE_S: Final = (
    0.02  # a relay's contact bounces for some milliseconds; common practice, no source
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlameConfirmation:
    """What the detector showed lately; `after` returns the next state.

    A flame flickers about ten times a second, so “bad without a break” would miss a real one. The
    second edge within ten seconds confirms it, and so does bad time that adds up to `confirm_s`.
    Where that is 0 the first edge does.
    """

    confirm_s: float = 0.0
    is_confirmed: bool = False
    _edge_at_s: WallSeconds | None = None
    _bad_s: float = 0.0
    _was_bad: bool = False
    _seen_at_s: float = 0.0

    def after(self, *, is_open: bool, has_opened: bool, now_s: WallSeconds) -> "FlameConfirmation":
        """Return the state after a look; `has_opened`: at any time since the look before."""
        is_bad = is_open or has_opened
        if self._edge_at_s is None and not is_bad:
            return self  # as at nearly every look: nothing was seen that could be confirmed
        before = self if self._counts(now_s) else FlameConfirmation(confirm_s=self.confirm_s)
        is_edge = has_opened or (is_bad and not before._was_bad)
        since_s = None if before._edge_at_s is None else now_s - before._edge_at_s
        is_second = is_edge and since_s is not None and since_s > BOUNCE_S
        bad_s = before._bad_s + (now_s - before._seen_at_s if before._was_bad else 0.0)
        has_lasted = is_bad and bad_s >= self.confirm_s
        return replace(
            before,
            is_confirmed=before.is_confirmed or is_second or has_lasted,
            _edge_at_s=now_s if is_second or (is_edge and since_s is None) else before._edge_at_s,
            _bad_s=bad_s,
            _was_bad=is_bad,
            _seen_at_s=now_s,
        )

    def _counts(self, now_s: WallSeconds) -> bool:
        """Return whether the first edge is recent enough to count."""
        is_recent = self._edge_at_s is not None and now_s - self._edge_at_s <= CONFIRM_WITHIN_S
        return is_recent or self._was_bad
