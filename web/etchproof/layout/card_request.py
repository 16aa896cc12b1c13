"""What a person says about a card: laser, tile and paint, and the room there is for it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from etchphoto.halftone import HALFTONES
from etchproof.card import Card, Label, Patch
from etchproof.errors import UnfitCard
from etchproof.layout.border import Border, Place
from etchwire.catalogue.halftones import halftone_name
from etchwire.catalogue.heads import Head, Recipe

LEAST_LINES: Final = 10  # fewer lines make no patch that can be read


@dataclass(frozen=True, slots=True, kw_only=True)
class CardRequest:
    """What every kind of card needs to know."""

    number: int
    head: Head
    surface: str
    line_spacing_mm: float
    halftone: str
    place: Place
    air_assist: bool = False

    def __post_init__(self) -> None:
        """Refuse what makes no card, naming it."""
        if self.number < 1:
            raise UnfitCard(f"cards are numbered from 1, not {self.number}")
        sides = {
            "the line spacing": self.line_spacing_mm,
            "the width of the card's place": self.place.width_mm,
            "the height of the card's place": self.place.height_mm,
        }
        for name, side_mm in sides.items():
            if not (side_mm > 0 and math.isfinite(side_mm)):
                raise UnfitCard(f"{name} must be a number of millimetres above zero")
        if self.halftone not in HALFTONES:
            raise UnfitCard(
                f"there is no halftone {self.halftone!r}: choose one of "
                f"{', '.join(map(halftone_name, HALFTONES))}"
            )

    def card(
        self,
        kind: str,
        recipe: Recipe,
        border: Border,
        *,
        patches: Sequence[Patch] = (),
        labels: Sequence[Label] = (),
    ) -> Card:
        """Return a card of this request: `labels` stand beside those of the border."""
        return Card(
            kind=kind,
            number=self.number,
            head=self.head,
            recipe=recipe,
            halftone=self.halftone,
            is_both_directions=self.head.register.is_measured,
            rows=border.rows,
            columns=border.columns,
            markers=border.markers,
            labels=(*border.labels, *labels),
            patches=tuple(patches),
        )


def require_lines(size_mm: float, spacing_mm: float) -> None:
    """Raise UnfitCard when a patch so high has too few lines to be read."""
    if size_mm / spacing_mm < LEAST_LINES - 1e-6:
        raise UnfitCard(
            f"a patch {size_mm:g} mm high has fewer than {LEAST_LINES} lines at a line spacing of "
            f"{spacing_mm:g} mm, too few to be read: make it at least "
            f"{LEAST_LINES * spacing_mm:.2g} mm high"
        )
