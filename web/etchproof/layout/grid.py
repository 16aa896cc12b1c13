"""The settings of a power card's cells: which speeds, which powers."""

from dataclasses import dataclass, replace
from typing import Final, Self

from etchproof.errors import UnfitCard
from etchproof.layout.ranges import Range
from etchwire.catalogue.heads import Head, Recipe, dose_j_per_mm2

LEAST_STEPS: Final = 2
MOST_STEPS: Final = 12  # more than a tile holds and a person tells apart

# Five patches round a recipe: a third of a step of the first card each way.
FEED_SHARES: Final = (0.8, 1.0, 1.25)
POWER_SHARES: Final = (0.9, 1.0, 1.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Speeds from slow to fast, powers from low to high; cells in `bare` (row, column) stay so."""

    feeds_mm_per_min: tuple[float, ...]
    power_ratios: tuple[float, ...]
    bare: frozenset[tuple[int, int]] = frozenset()
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a grid that compares nothing, or more than can be told apart."""
        for name, values in (("speeds", self.feeds_mm_per_min), ("powers", self.power_ratios)):
            if not LEAST_STEPS <= len(values) <= MOST_STEPS:
                raise UnfitCard(
                    f"a power card compares {LEAST_STEPS} to {MOST_STEPS} {name}, not {len(values)}"
                )
            if list(values) != sorted(set(values)):
                raise UnfitCard(
                    f"the {name} of the card lie so close that some are the same: ask for fewer, "
                    "or for a wider range"
                )

    @classmethod
    def over(cls, wanted: Range, rows: int, columns: int) -> Self:
        """Return `rows` speeds and `columns` powers spread over `wanted`."""
        return cls(
            feeds_mm_per_min=wanted.feeds(rows),
            power_ratios=wanted.powers(columns),
            notes=wanted.notes,
        )

    def strongest_dose_j_per_mm2(self, head: Head, line_spacing_mm: float) -> float:
        """Return the dose of the cell that gets most."""
        return max(self._dose(cell, head, line_spacing_mm) for cell in self.cells())

    def without_more_dose(self, most_j_per_mm2: float, head: Head, line_spacing_mm: float) -> Self:
        """Return the grid with those cells bare that would get more, and a note that says so."""
        too_much = {
            cell
            for cell in self.cells()
            if self._dose(cell, head, line_spacing_mm) > most_j_per_mm2
        }
        if not too_much:
            return self
        names = ", ".join(cell_name(*cell) for cell in sorted(too_much))
        note = (
            f"Left bare: {names}. No surface is known to need more than {most_j_per_mm2:g} J/mm²."
        )
        return replace(self, bare=self.bare | too_much, notes=(*self.notes, note))

    def _dose(self, cell: tuple[int, int], head: Head, line_spacing_mm: float) -> float:
        row, column = cell
        return dose_j_per_mm2(
            power_w=head.rated_optical_w * self.power_ratios[column],
            feed_mm_per_min=self.feeds_mm_per_min[row],
            line_spacing_mm=line_spacing_mm,
        )

    @classmethod
    def round_recipe(cls, recipe: Recipe, head: Head) -> Self:
        """Return five patches: the recipe, one slower, one faster, one weaker, one stronger.

        A laser that is at its limit has no faster or no stronger one, and the notes say so.
        """
        feeds = [recipe.feed_mm_per_min * share for share in FEED_SHARES]
        powers = [recipe.power_ratio * share for share in POWER_SHARES]
        notes = []
        if feeds[-1] > head.max_feed_mm_per_min:
            del feeds[-1]
            notes.append("There is no faster patch: the recipe is near this laser's highest speed.")
        if powers[-1] > 1:
            del powers[-1]
            notes.append("There is no stronger patch: the recipe is near this laser's full power.")
        cells = {(row, column) for row in range(len(feeds)) for column in range(len(powers))}
        return cls(
            feeds_mm_per_min=tuple(float(f"{feed:.4g}") for feed in feeds),
            power_ratios=tuple(round(power, 3) for power in powers),
            bare=frozenset(cell for cell in cells if 1 not in cell),
            notes=tuple(notes),
        )

    def cells(self) -> list[tuple[int, int]]:
        """Return the cells that are etched, row by row."""
        return [
            (row, column)
            for row in range(len(self.feeds_mm_per_min))
            for column in range(len(self.power_ratios))
            if (row, column) not in self.bare
        ]


def cell_name(row: int, column: int) -> str:
    """Return what a cell is called: rows by letter from the slowest, columns by number."""
    return f"{chr(ord('A') + row)}{column + 1}"
