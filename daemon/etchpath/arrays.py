"""Arrays as G-code is worked on with: many lines at once, in columns of equal length."""

from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Counts = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Columns:
    """Arrays side by side, as the columns of one table; the last axis of each counts the rows."""

    def part(self, places: slice | Flags | Counts) -> Self:
        """Return some of the rows."""
        return type(self)(*(getattr(self, entry.name)[..., places] for entry in fields(self)))

    def joined(self, more: Self) -> Self:
        """Return these rows and `more` after them."""
        pairs = ((getattr(self, entry.name), getattr(more, entry.name)) for entry in fields(self))
        return type(self)(*(np.concatenate(pair, axis=-1) for pair in pairs))

    @classmethod
    def none(cls) -> Self:
        """Return no rows at all, where every column is of floats."""
        return cls(*(np.empty(0) for _ in fields(cls)))
