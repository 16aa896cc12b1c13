"""Durability trials: one strip photographed before and after it was worn on purpose.

What is told is the lightness lost and the cycles run. How many years that stands for nobody knows.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Self

from etchproof.card import Card
from etchproof.choosing.judging import PLATEAU_L
from etchproof.choosing.kinds import MOST_CYCLES, TREATMENTS
from etchproof.errors import UnreadableCard
from etchproof.reading.values import Reading

SCATTER_L: Final = 1.0  # two photos of one strip differ by so much (from invented photographs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What a strip went through since the reading `before`, and how many times."""

    treatment: str
    cycles: int
    before: Reading

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> Self:
        """Build from plain values, `before` as JSON; raise UnreadableCard."""
        treatment, cycles = table.get("treatment"), table.get("cycles")
        if treatment not in TREATMENTS:
            raise UnreadableCard(f"a trial is one of {', '.join(TREATMENTS)}")
        if not isinstance(cycles, int) or not 1 <= cycles <= MOST_CYCLES:
            raise UnreadableCard(f"a trial has 1 to {MOST_CYCLES} cycles")
        if not table.get("before"):
            raise UnreadableCard(
                "there is no reading of this strip from before: read it first, as it came from the "
                "laser, and keep that"
            )
        return cls(treatment=treatment, cycles=cycles, before=Reading.from_json(table["before"]))


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """How much lighter the patch at the recipe's speed and the one that lost most have become."""

    at_recipe_l: float
    most_l: float
    most_cell: str


def loss_of(card: Card, trial: Trial, after: Reading) -> Loss:
    """Return what `card` lost in L*; raise UnreadableCard where no patch was read both times."""
    lost = {}
    for patch in card.patches:
        old, new = (one.of(patch.cell, patch.part) for one in (trial.before, after))
        if old is not None and new is not None:
            lost[patch.cell] = new.lightness - old.lightness
    if not lost:
        raise UnreadableCard("the readings before and after the trial have no patch in common")
    speeds = {patch.cell: patch.feed_mm_per_min for patch in card.patches}
    recipe = card.recipe.feed_mm_per_min
    own = min(lost, key=lambda cell: abs(speeds[cell] - recipe))
    most = max(lost, key=lost.__getitem__)
    return Loss(at_recipe_l=lost[own], most_l=lost[most], most_cell=most)


def loss_sentences(trial: Trial, loss: Loss) -> list[str]:
    """Say what was lost after how many cycles, and what that does not say."""
    times = "cycle" if trial.cycles == 1 else "cycles"
    change = loss.at_recipe_l
    if abs(change) <= SCATTER_L:
        first = f"no loss that a photo shows ({change:+.1f} L*)"
    else:
        way = "lighter" if change > 0 else "darker"
        seen = ", which an eye sees side by side" if change > PLATEAU_L else ""
        first = f"the recipe's patch is {abs(change):.1f} L* {way}{seen}"
    return [
        f"After {trial.cycles} {times} of {trial.treatment}: {first}. Patch {loss.most_cell} lost "
        f"most, {loss.most_l:+.1f} L*; two photos of one strip differ by up to {SCATTER_L:g}.",
        "That is one strip and these cycles; how many years they stand for is not known.",
    ]
