"""What may be noted of the craft: each call becomes an entry."""

from collections.abc import Callable, Mapping
from functools import cache
from importlib.metadata import version
from typing import Final

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.write.card_entries import (
    CardSaved,
    ReadingAccepted,
    ReadingSaved,
    VerdictSaved,
)
from etchdaemon.logbook.write.catalogue_entries import (
    CatalogueIntroduced,
    HeadSaved,
    LensWiped,
    RecipeRetired,
    RecipeSaved,
    SurfaceSaved,
)
from etchdaemon.logbook.write.entries import LogbookEntry
from etchdaemon.logbook.write.insert_statements import Stamp
from etchwire.calls.call import AnyCall
from etchwire.calls.catalogue import (
    AcceptReading,
    Note,
    RetireRecipe,
    SaveCard,
    SaveHead,
    SaveReading,
    SaveRecipe,
    SaveSurface,
    SaveVerdict,
    WipeLens,
)
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECORDS, PRACTICE_SURFACES
from etchwire.catalogue.heads import MeasuredSpot, Register
from etchwire.catalogue.records import (
    TEXT_LIMIT,
    RecipeRecord,
    VerdictRecord,
    require_name,
    require_short,
)
from etchwire.errors import UnreadableSheet

NAMELESS: Final = "somebody"


def _head_saved(call: SaveHead, stamp: Stamp) -> LogbookEntry:
    require_name("laser", call.head.name)
    require_short("the laser's notes", call.notes, TEXT_LIMIT)
    return HeadSaved(head=call.head, notes=call.notes, stamp=stamp)


def _reading_accepted(call: AcceptReading, stamp: Stamp) -> LogbookEntry:
    """Choose: a `recipe`, without head, surface and origin, a `register` or a `spot`."""
    chosen = call.chosen
    if len(chosen) != 1 or not chosen.keys() <= {"recipe", "register", "spot"}:
        raise UnreadableSheet("what is chosen is a recipe, a register or a spot")
    ((kind, table),) = chosen.items()
    if not isinstance(table, Mapping):
        raise UnreadableSheet(f"a {kind} must be a table, not {table!r:.40}")
    if kind == "register":
        register = Register.from_table({**table, "is_measured": True})
        return ReadingAccepted(
            call.reading, chosen, stamp, head_changes={kind: register.to_table()}
        )
    if kind == "spot":
        spot = MeasuredSpot.from_table(table)
        changes = {
            "spot_x_mm": spot.spot_x_mm,
            "spot_y_mm": spot.spot_y_mm,
            "is_spot_measured": True,
        }
        return ReadingAccepted(call.reading, chosen, stamp, head_changes=changes)
    belongs = {"head": "", "surface": "", "origin": "reading", "reading": call.reading}
    recipe = RecipeRecord.from_table({**table, **belongs})
    return ReadingAccepted(call.reading, chosen, stamp, recipe=recipe)


def _verdict_saved(call: SaveVerdict, stamp: Stamp) -> LogbookEntry:
    verdict = VerdictRecord(
        run=call.run, verdict=call.verdict, cause=call.cause, note=call.note, photo=call.photo
    )
    return VerdictSaved(verdict, stamp)


_ENTRIES: Final[Mapping[type[AnyCall], Callable[..., LogbookEntry]]] = {
    SaveHead: _head_saved,
    WipeLens: lambda call, stamp: LensWiped(call.head, stamp),
    SaveSurface: lambda call, stamp: SurfaceSaved(call.surface, stamp),
    SaveRecipe: lambda call, stamp: RecipeSaved(call.recipe, stamp),
    RetireRecipe: lambda call, stamp: RecipeRetired(call.id, stamp),
    SaveCard: lambda call, stamp: CardSaved(call.card, stamp),
    SaveReading: lambda call, stamp: ReadingSaved(call.reading, stamp),
    AcceptReading: _reading_accepted,
    SaveVerdict: _verdict_saved,
}


def entry_of(call: Note, *, at_utc: str) -> LogbookEntry:
    """Return the entry that a note of the catalogue makes; raise CommandRefused."""
    try:
        who = call.who.strip()
        require_short("who does it", who, TEXT_LIMIT)
        return _ENTRIES[type(call)](call, Stamp(who or NAMELESS, at_utc, software()))
    except UnreadableSheet as error:
        raise CommandRefused(f"{str(error)[:1].upper()}{str(error)[1:]}.") from error


def practice_craft(*, at_utc: str) -> LogbookEntry:
    """Return what a practice household begins with: invented lasers, surfaces and recipes."""
    return CatalogueIntroduced(
        heads=tuple(PRACTICE_HEADS.values()),
        surfaces=PRACTICE_SURFACES,
        recipes=tuple(PRACTICE_RECORDS.values()),
        stamp=Stamp("practice", at_utc, software()),
    )


@cache
def software() -> str:
    """Return the version of this program."""
    return version("etchwarden")
