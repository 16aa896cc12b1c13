"""What may be noted of the craft: each command's parameters become an entry."""

from collections.abc import Callable, Mapping
from functools import cache
from importlib.metadata import version
from typing import Any, Final

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
from etchwire.catalogue import Head, Register
from etchwire.catalogue_records import (
    TEXT_LIMIT,
    CardRecord,
    ReadingRecord,
    RecipeRecord,
    Surface,
    VerdictRecord,
    require_name,
    require_short,
)
from etchwire.errors import UnreadableSheet
from etchwire.examples import PRACTICE_HEADS, PRACTICE_RECORDS, PRACTICE_SURFACES

NAMELESS: Final = "somebody"


def save_head(stamp: Stamp, *, head: Mapping[str, Any], notes: str) -> LogbookEntry:
    """Describe a laser."""
    described = Head.from_table(head)
    require_name("laser", described.name)
    require_short("the laser's notes", notes, TEXT_LIMIT)
    return HeadSaved(head=described, notes=notes, stamp=stamp)


def wipe_lens(stamp: Stamp, *, head: str) -> LogbookEntry:
    """Note that a lens was wiped."""
    return LensWiped(head, stamp)


def save_surface(stamp: Stamp, *, surface: Mapping[str, Any]) -> LogbookEntry:
    """Describe a surface."""
    return SurfaceSaved(Surface.from_table(surface), stamp)


def save_recipe(stamp: Stamp, *, recipe: Mapping[str, Any]) -> LogbookEntry:
    """Bring a recipe into force."""
    return RecipeSaved(RecipeRecord.from_table(recipe), stamp)


def retire_recipe(stamp: Stamp, *, id: int) -> LogbookEntry:  # noqa: A002 (the wire's name)
    """Take a recipe out of force."""
    return RecipeRetired(id, stamp)


def save_card(stamp: Stamp, *, card: Mapping[str, Any]) -> LogbookEntry:
    """File a card."""
    return CardSaved(CardRecord.from_table(card), stamp)


def save_reading(stamp: Stamp, *, reading: Mapping[str, Any]) -> LogbookEntry:
    """File what a card showed."""
    return ReadingSaved(ReadingRecord.from_table(reading), stamp)


def accept_reading(stamp: Stamp, *, reading: int, chosen: Mapping[str, Any]) -> LogbookEntry:
    """Choose: `chosen` holds a `recipe`, without head, surface and origin, or a `register`."""
    if len(chosen) != 1 or not chosen.keys() <= {"recipe", "register"}:
        raise UnreadableSheet("what is chosen is either a recipe or a register")
    ((kind, table),) = chosen.items()
    if not isinstance(table, Mapping):
        raise UnreadableSheet(f"a {kind} must be a table, not {table!r:.40}")
    if kind == "register":
        register = Register.from_table({**table, "is_measured": True})
        return ReadingAccepted(reading, chosen, stamp, register=register)
    belongs = {"head": "", "surface": "", "origin": "reading", "reading": reading}
    recipe = RecipeRecord.from_table({**table, **belongs})
    return ReadingAccepted(reading, chosen, stamp, recipe=recipe)


def save_verdict(stamp: Stamp, **verdict: Any) -> LogbookEntry:
    """Say what the wiped tile of a run looked like."""
    return VerdictSaved(VerdictRecord(**verdict), stamp)


COMMANDS: Final[Mapping[str, Callable[..., LogbookEntry]]] = {
    command.__name__: command
    for command in (
        save_head, wipe_lens, save_surface, save_recipe, retire_recipe, save_card, save_reading,
        accept_reading, save_verdict,
    )
}  # fmt: skip


def entry_of(command: str, parameters: Mapping[str, Any], *, at_utc: str) -> LogbookEntry:
    """Return the entry that `command` makes; raise CommandRefused, with a sentence."""
    given = dict(parameters)
    who = str(given.pop("who", "")).strip()
    try:
        require_short("who does it", who, TEXT_LIMIT)
        return COMMANDS[command](Stamp(who or NAMELESS, at_utc, software()), **given)
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
