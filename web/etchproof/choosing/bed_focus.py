"""The focus over the bed: how far each place is out, and what to pack where.

A focus card says how high a tile stands in focus at one place of the bed. Where places differ,
rails or bed are not level, or the bed sags. Loads no numpy, for the page to use.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Self

from etchproof.card import BED_PLACES

LEAST_PACKING_MM: Final = 0.1  # nobody packs less


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceFocus:
    """How high a tile is in focus at one place, and over how many mm its focus reaches."""

    place: str
    best_mm: float
    doubt_mm: float
    in_focus_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BedFocus:
    """The places that were measured, in the order of BED_PLACES.

    With the laser lowered by `lower_mm`, `packing_mm` says by place how much to lay under a tile;
    where one height suits them all there is nothing to pack.
    """

    places: tuple[PlaceFocus, ...]
    lower_mm: float
    packing_mm: Mapping[str, float]

    @classmethod
    def of(cls, found: Iterable[PlaceFocus]) -> Self | None:
        """Return the focus over the bed; None with fewer than two places."""
        by_place = {one.place: one for one in found}
        places = tuple(by_place[name] for name in BED_PLACES if name in by_place)
        if len(places) < 2:
            return None
        heights = [one.best_mm for one in places]
        low, high = min(heights), max(heights)
        if high - low <= min(one.in_focus_mm for one in places):
            return cls(places=places, lower_mm=(low + high) / 2, packing_mm={})
        packing = {
            one.place: one.best_mm - low for one in places if one.best_mm - low >= LEAST_PACKING_MM
        }
        return cls(places=places, lower_mm=low, packing_mm=packing)

    @property
    def missing(self) -> tuple[str, ...]:
        """The places that were not measured."""
        measured = {one.place for one in self.places}
        return tuple(place for place in BED_PLACES if place not in measured)

    def sentences(self) -> list[str]:
        """Say how far each place is out, and what to pack where."""
        centre = next((one for one in self.places if one.place == BED_PLACES[0]), None)
        told = []
        for one in self.places:
            place = f"{one.place.capitalize()}: in focus {one.best_mm:.1f} mm up"
            if centre is not None and one is not centre:
                place += f", {_beside(one.best_mm - centre.best_mm)}"
            told.append(f"{place}, give or take {one.doubt_mm:.1f} mm.")
        if self.packing_mm:
            packing = ", ".join(
                f"{mm:.1f} mm at the {place}" for place, mm in self.packing_mm.items()
            )
            told.append(
                f"Lower the laser by {self.lower_mm:.1f} mm from where it stood, and pack a tile "
                f"up by {packing}."
            )
        else:
            told.append(
                f"Nothing to pack: with the laser lowered by {self.lower_mm:.1f} mm from where it "
                "stood, a flat tile is in focus at every place measured."
            )
        if self.missing:
            told.append(f"Not measured yet: {', '.join(self.missing)}.")
        told.append("Nine times in ten each height is within its “give or take”.")
        told.append("This holds if the laser was not moved up or down between these cards.")
        return told


def places_of(summaries: Iterable[Mapping[str, Any]]) -> list[PlaceFocus]:
    """Return the newest focus of each place from the summaries of readings, newest first."""
    newest: dict[str, PlaceFocus] = {}
    for summary in summaries:
        place = summary.get("bed_place")
        if place in BED_PLACES and place not in newest:
            newest[place] = PlaceFocus(
                place=place,
                best_mm=summary["best_focus_mm"],
                doubt_mm=summary["best_focus_doubt_mm"],
                in_focus_mm=summary["in_focus_mm"],
            )
    return list(newest.values())


def _beside(higher_mm: float) -> str:
    if abs(higher_mm) < LEAST_PACKING_MM:
        return "as the centre"
    return f"{abs(higher_mm):.1f} mm {'higher' if higher_mm > 0 else 'lower'} than the centre"
