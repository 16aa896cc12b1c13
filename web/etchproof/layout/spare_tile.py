"""Spare tiles: which places of one are taken, and where the next card goes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any, Final, Self

from etchproof.card import Card
from etchproof.errors import CardDoesNotFit, NoPlaceLeft, UnfitCard
from etchproof.layout.border import Place
from etchproof.layout.card_order import CardOrder, lay_out
from etchwire.catalogue.records import SparePlace
from etchwire.errors import UnreadableSheet

GAP_MM: Final = 1.0  # between two cards; each has a bare margin of its own besides


@dataclass(frozen=True, slots=True, kw_only=True)
class SpareTile:
    """A tile for test cards, by its name, with the places that cards have taken of it."""

    name: str
    width_mm: float
    height_mm: float
    used: tuple[SparePlace, ...] = ()

    def __post_init__(self) -> None:
        """Refuse a tile without a name or a size."""
        try:
            self._place(0.0, 0.0, self.width_mm, self.height_mm)
        except UnreadableSheet as error:
            raise UnfitCard(str(error)) from error

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> Self:
        """Build from plain values; raise UnfitCard."""
        try:
            used = tuple(SparePlace.from_table(place) for place in table.get("used", ()))
            return cls(**{**table, "used": used})
        except (UnreadableSheet, TypeError) as error:
            raise UnfitCard(str(error)) from error

    def free_places(self) -> list[SparePlace]:
        """Return the largest free rectangles, which may overlap, the smallest first."""
        rights = {0.0, *(place.left_mm + place.width_mm + GAP_MM for place in self.used)}
        bottoms = {0.0, *(place.top_mm + place.height_mm + GAP_MM for place in self.used)}
        lefts = {self.width_mm, *(place.left_mm - GAP_MM for place in self.used)}
        tops = {self.height_mm, *(place.top_mm - GAP_MM for place in self.used)}
        free = [
            self._place(left, top, right - left, bottom - top)
            for left, right, top, bottom in product(rights, lefts, bottoms, tops)
            if left < right and top < bottom and not self._is_taken(left, top, right, bottom)
        ]
        return sorted(free, key=lambda place: place.width_mm * place.height_mm)

    def _is_taken(self, left: float, top: float, right: float, bottom: float) -> bool:
        return any(
            left < place.left_mm + place.width_mm
            and place.left_mm < right
            and top < place.top_mm + place.height_mm
            and place.top_mm < bottom
            for place in self.used
        )

    def _place(self, left: float, top: float, width: float, height: float) -> SparePlace:
        return SparePlace(
            tile=self.name,
            tile_width_mm=self.width_mm,
            tile_height_mm=self.height_mm,
            left_mm=left,
            top_mm=top,
            width_mm=width,
            height_mm=height,
        )


def lay_out_on(tile: SpareTile, order: CardOrder) -> tuple[Card, SparePlace]:
    """Return the card and the place that it takes: the smallest free one where it fits whole.

    It is as large as the whole tile allows, or where no place holds that, as the largest one does.
    Raise NoPlaceLeft, UnfitCard.
    """
    whole = lay_out(_in(order, tile.width_mm, tile.height_mm))
    free = tile.free_places()
    for place in free:
        if Place(place.width_mm, place.height_mm).holds(whole.width_mm, whole.height_mm):
            return _laid(order, whole, place)
    for card, place in _smaller(order, free[::-1]):
        return _laid(order, card, place)
    raise NoPlaceLeft(
        f"no place is left on the spare tile {tile.name} for this card ({whole.width_mm:.0f} × "
        f"{whole.height_mm:.0f} mm, {len(tile.used)} places taken): take another tile"
    )


def _smaller(order: CardOrder, places: Sequence[SparePlace]) -> Iterator[tuple[Card, SparePlace]]:
    for place in places:
        try:
            yield lay_out(_in(order, place.width_mm, place.height_mm)), place
        except CardDoesNotFit:
            continue


def _in(order: CardOrder, width_mm: float, height_mm: float) -> CardOrder:
    return replace(order, wishes=replace(order.wishes, place=Place(width_mm, height_mm)))


def _laid(order: CardOrder, card: Card, free: SparePlace) -> tuple[Card, SparePlace]:
    """Return the card with a note of where it goes, and what it takes of `free`."""
    if order.wedge is not None:  # its heights go by where it lies on the tile
        wedge = replace(order.wedge, start_mm=free.left_mm)
        card = lay_out(replace(_in(order, card.width_mm, card.height_mm), wedge=wedge))
    place = replace(free, width_mm=card.width_mm, height_mm=card.height_mm)
    note = (
        f"On the spare tile {place.tile} it goes {place.left_mm:.0f} mm from the left edge and "
        f"{place.top_mm:.0f} mm from the top: set the origin at the tile's lower left corner."
    )
    return replace(card, notes=(*card.notes, note)), place


def corner_mm(place: SparePlace) -> tuple[float, float]:
    """Return a card's lower left corner, in mm from the tile's."""
    return place.left_mm, place.tile_height_mm - place.top_mm - place.height_mm
