"""In which state an item of an order is, and how many tiles are to be made: from what happened.

Nobody ticks a state. A tile that was judged bad counts as not made, so one more is on the list.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

TO_PREPARE: Final = "to prepare"
PROOF_OUT: Final = "proof out"
READY: Final = "ready"
ON_BENCH: Final = "on the bench"
TO_JUDGE: Final = "to judge"
DONE: Final = "done"
STATES: Final = (TO_PREPARE, PROOF_OUT, READY, ON_BENCH, TO_JUDGE, DONE)


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemFacts:
    """What the logbook knows of an item's tiles and of its proof as the item is now."""

    count: int
    good: int = 0
    bad: int = 0
    unjudged: int = 0  # etched to the end
    on_bench: int = 0  # loaded, etching, or stopped on the way
    is_shown: bool = False
    is_accepted: bool = False


def is_enough(*, good: float, count: int) -> bool:
    """Return whether an item is done: nothing else matters then."""
    return good >= count


# The first that fits.
_FITS: Final[tuple[tuple[str, Callable[[ItemFacts], bool]], ...]] = (
    (DONE, lambda facts: is_enough(good=facts.good, count=facts.count)),
    (TO_JUDGE, lambda facts: facts.unjudged > 0),
    (ON_BENCH, lambda facts: facts.on_bench > 0),
    (READY, lambda facts: facts.is_accepted),
    (PROOF_OUT, lambda facts: facts.is_shown),
    (TO_PREPARE, lambda _: True),
)


def item_state(facts: ItemFacts) -> str:
    """Return one of STATES."""
    return next(state for state, fits in _FITS if fits(facts))


def tiles_to_make(facts: ItemFacts) -> int:
    """Return how many tiles nobody has begun yet, those that were judged bad among them."""
    return max(0, facts.count - facts.good - facts.unjudged - facts.on_bench)


def order_state(items: Iterable[str]) -> str:
    """Return the state of an order: that of the item that is furthest from done."""
    return min(items, key=STATES.index, default=TO_PREPARE)
