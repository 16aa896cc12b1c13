"""What a mark by hand says of other patches, as dose has an order.

More dose does not mend a damaged glaze, and less does not make paint hold that rubbed off. A
setting burns no less than another with no less power, at no more speed, with lines no further
apart. With more power *and* more speed it is not known which burns more, so a mark says nothing
there.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from etchproof.reading.hand_marks import Mark

SAME: Final = 1e-6  # of a figure: nearer is the same setting on two cards


@dataclass(frozen=True, slots=True)
class Setting:
    """What a patch was burnt with."""

    power_ratio: float
    feed_mm_per_min: float
    line_spacing_mm: float

    def burns_no_less_than(self, other: "Setting") -> bool:
        """Return whether this setting surely gives each place at least what `other` gives it."""
        return (
            self.power_ratio >= other.power_ratio * (1 - SAME)
            and self.feed_mm_per_min <= other.feed_mm_per_min * (1 + SAME)
            and self.line_spacing_mm <= other.line_spacing_mm * (1 + SAME)
        )


@dataclass(frozen=True, slots=True)
class MarkedPatch:
    """A patch that was marked by hand; `name` says which to a person."""

    name: str
    setting: Setting
    mark: Mark

    def speaks_for(self, setting: Setting) -> bool:
        """Return whether the mark holds for a patch of that setting too."""
        if self.mark is Mark.RUBS_OFF:
            return self.setting.burns_no_less_than(setting)
        return self.mark is Mark.GLAZE_DAMAGED and setting.burns_no_less_than(self.setting)


def mark_for(setting: Setting, marked: Sequence[MarkedPatch]) -> Mark | None:
    """Return what the marks on other patches say of one; damage counts before rubbing off."""
    said = {patch.mark for patch in marked if patch.speaks_for(setting)}
    return next((mark for mark in (Mark.GLAZE_DAMAGED, Mark.RUBS_OFF) if mark in said), None)


def contradictions(marked: Sequence[MarkedPatch]) -> tuple[str, ...]:
    """Return a question for each pair of marks that cannot both be true."""
    asked = {frozenset((one.name, other.name)): (one, other) for one, other in _pairs(marked)}
    return tuple(_question(one, other) for one, other in asked.values())


_CONTRADICTED: Final = {
    Mark.RUBS_OFF: (Mark.GOOD, Mark.GLAZE_DAMAGED),
    Mark.GLAZE_DAMAGED: (Mark.GOOD, Mark.RUBS_OFF),
}
_THOUGH: Final = {
    Mark.RUBS_OFF: "had no more power and no less speed",
    Mark.GLAZE_DAMAGED: "had no less power and no more speed",
}


def _pairs(marked: Sequence[MarkedPatch]) -> Iterator[tuple[MarkedPatch, MarkedPatch]]:
    for one in marked:
        for other in marked:
            if other.mark in _CONTRADICTED.get(one.mark, ()) and one.speaks_for(other.setting):
                yield one, other


def _question(one: MarkedPatch, other: MarkedPatch) -> str:
    return (
        f"Patch {one.name} is marked “{one.mark}” and patch {other.name} “{other.mark}”, though "
        f"{other.name} {_THOUGH[one.mark]}: both cannot be true, so look at both again and mark "
        "them anew."
    )
