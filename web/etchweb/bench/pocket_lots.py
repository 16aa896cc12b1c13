"""Of which painting lot the tile in each pocket is, and whether a check strip was read of it."""

from collections.abc import Iterable, Mapping
from typing import Any, Final

from etchweb.context import answered, app_context
from etchweb.server.forms import FormUnfit
from etchwire.calls.catalogue import Cards, Lots, Recipes
from etchwire.catalogue.lots import Lot

LOT: Final = "lot"  # of every pocket that says none of its own
LOT_OF_POCKET: Final = "lot-"
NO_LOT: Final = "There is no such painting lot any more: choose another."
_FACTS: Final = ("width_mm", "height_mm", "warp_mm")


def lot_of(pocket: int, form: Mapping[str, str]) -> str:
    """Return the lot that was chosen for a pocket; empty where none was."""
    return form.get(f"{LOT_OF_POCKET}{pocket}", "") or form.get(LOT, "")


def facts_by_lot(names: Iterable[str]) -> dict[str, dict[str, Any]]:
    """Return what is known of the tiles of each lot, and nothing for no lot; raise FormUnfit."""
    wanted = set(names) - {""}
    known: dict[str, Lot] = {}
    if wanted:
        known = {one.name: one.lot for one in app_context().daemon.ask(Lots()).lots}
    if wanted - known.keys():
        raise FormUnfit(NO_LOT)
    found = {
        name: {"lot": name, **{fact: getattr(known[name], fact) for fact in _FACTS}}
        for name in wanted
    }
    return found | {"": {}}


def without_check_strip(lots: Iterable[str], *, head: str, surface: str) -> set[str]:
    """Return those of `lots` of which no test card was read and no recipe found on this pair.

    A card and a recipe keep the lot that was in use when they were made.
    """
    cards = answered(Cards(head=head, surface=surface)).cards
    recipes = answered(Recipes(head=head, surface=surface)).recipes
    tested = {card.found_on.lot for card in cards if card.reading_id is not None}
    return set(lots) - tested - {recipe.found_on.lot for recipe in recipes}


def check_strip_words(lots: Mapping[int, str], untested: Iterable[str]) -> list[str]:
    """Return a sentence for each pocket whose lot is among `untested`."""
    new = set(untested)
    return [
        f"Pocket {pocket}: no check strip of lot {lot} has been read yet. Etch one on a tile of "
        "that lot first."
        for pocket, lot in lots.items()
        if lot in new
    ]
