"""A measured tone: a tone curve, and the settings under which it was measured.

How far a dot spreads depends on speed, power, line spacing and air assist, and how dots meet on
the halftone that lays them: greys etched with one halftone and the curve of another came out 2 to
5 L* too dark (measured on the practice machine). So a curve holds for what it was measured with.
Only from one halftone to another the card's dot leads, where it was fitted.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final, Self

from etchphoto.dots.speeds import Motion
from etchphoto.halftone import KERNELS
from etchphoto.tone import BURNT_AS_WANTED, ToneCurve
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.heads import Recipe

HALFTONE_UNSTATED: Final = "jarvis"  # what a card was etched with when its record names none

_WORDS: Final[Mapping[str, str]] = {
    "surface": "tile and paint",
    "feed_mm_per_min": "speed",
    "power_ratio": "power",
    "line_spacing_mm": "line spacing",
    "air_assist": "air assist",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredTone:
    """A tone curve with the recipe and the halftone of the card that showed it, and its dot."""

    curve: ToneCurve
    recipe: Recipe
    halftone: str
    dot: Dot | None = None

    @classmethod
    def from_record(cls, record: Mapping[str, Any]) -> Self | None:
        """Build from a recipe as the logbook tells of it; None where no tone card was read."""
        table = record["tone_curve"]
        if table is None:
            return None
        return cls(
            curve=ToneCurve(tuple(table["wanted"]), tuple(table["to_burn"])),
            recipe=Recipe.from_table({name: record[name] for name in Recipe.__slots__}),
            halftone=record["halftone"] or HALFTONE_UNSTATED,
            dot=Dot.from_table(table["dot"]) if table.get("dot") else None,
        )

    def changes(self, recipe: Recipe, halftone: str) -> tuple[str, ...]:
        """Return in words what differs from what was measured; empty where the curve holds."""
        changed = [
            words
            for name, words in _WORDS.items()
            if not _is_same(getattr(self.recipe, name), getattr(recipe, name))
        ]
        if halftone != self.halftone:
            changed.append("halftone")
        return tuple(changed)

    def dot_for(self, recipe: Recipe) -> Dot | None:
        """Return the dot where it was fitted and holds: it knows no halftone."""
        return None if self.changes(recipe, self.halftone) else self.dot

    def is_worked_out(self, recipe: Recipe, halftone: str) -> bool:
        """Whether `curve_for` works the curve out of the dot, since the halftone is another."""
        is_other = halftone != self.halftone and halftone in KERNELS
        return is_other and self.dot_for(recipe) is not None

    def curve_for(self, motion: Motion, halftone: str) -> ToneCurve:
        """Return the curve that holds: as measured, worked out, or one that burns as wanted."""
        if not self.changes(motion.recipe, halftone):
            return self.curve
        if self.dot is None or not self.is_worked_out(motion.recipe, halftone):
            return BURNT_AS_WANTED
        from etchphoto.dots.tone_curve import tone_curve_of  # noqa: PLC0415  brings OpenCV

        return tone_curve_of(self.dot, KERNELS[halftone], motion)


def _is_same(measured: object, chosen: object) -> bool:
    if isinstance(measured, float) and isinstance(chosen, float):
        return math.isclose(measured, chosen, rel_tol=1e-6)  # 60 % is not 0.6 to the last bit
    return measured == chosen
