"""What the logbook has of test cards, as page and commands ask for it; without numpy, for the page.

Each question raises DaemonAbsent or Refused.
"""

from etchproof.card import CHECK, POWER, Card
from etchproof.choosing.kinds import EARLIER, EARLIER_KINDS, recipe_table
from etchwire.calls.catalogue import Card as CardCall
from etchwire.calls.catalogue import Reading, Readings, RecipeEntry, Recipes, WholeReading
from etchwire.packing import unpack
from etchwire.record import Ask
from etchwire.transport.json_text import JsonTable


def recipe_in_force(ask: Ask, head: str, surface: str) -> RecipeEntry | None:
    """Return the recipe in force for a laser on a surface."""
    recipes = ask(Recipes(head=head, surface=surface)).recipes
    return next((recipe for recipe in recipes if recipe.is_in_force), None)


def in_force_for(ask: Ask, card: Card) -> JsonTable | None:
    """Return the recipe in force as a check strip needs it; None for any other card."""
    if card.kind != CHECK:
        return None
    kept = recipe_in_force(ask, card.head.name, card.recipe.surface)
    return None if kept is None else recipe_table(kept)


def greys_left_behind(ask: Ask, head: str, surface: str) -> str:
    """Return in a sentence that a new recipe has no greys where the one in force has; else ""."""
    kept = recipe_in_force(ask, head, surface)
    if kept is None or kept.tone_curve is None:
        return ""
    return (
        f"Greys were measured with the recipe before this one ({kept.feed_mm_per_min:.0f} mm/min, "
        f"{kept.power_ratio * 100:.3g} %), and hold for that alone: etch a tone card before a "
        "photo counts."
    )


def newest_reading(ask: Ask, number: int) -> WholeReading | None:
    """Return the newest reading of a card, whole; none of a strip that was worn."""
    found = ask(Readings(card=number)).readings
    newest = next((one for one in found if "trial" not in one.summary), None)
    return None if newest is None else ask(Reading(id=newest.id))


def measured_in(reading: WholeReading | None) -> str:
    """Return what was measured, as JSON; empty where nothing was."""
    return unpack(reading.measured_packed) if reading and reading.measured_packed else ""


def earlier_cards(ask: Ask, card: Card) -> list[JsonTable]:
    """Return the cards of its laser and surface that it is read with, oldest first.

    Each is a table that `CardEvidence.from_table` reads.
    """
    kinds = EARLIER_KINDS.get(card.kind, ())
    if not kinds:
        return []
    newest: dict[int, int] = {}
    numbers: dict[str, set[int]] = {kind: set() for kind in kinds}
    of_pair = Readings(head=card.head.name, surface=card.recipe.surface)
    for reading in ask(of_pair).readings:
        is_worn = "trial" in reading.summary
        if reading.kind in kinds and reading.card_number < card.number and not is_worn:
            newest.setdefault(reading.card_number, reading.id)
            numbers[reading.kind].add(reading.card_number)
    kept = {number for found in numbers.values() for number in sorted(found)[-EARLIER:]}
    kept |= set(sorted(numbers.get(POWER, ()))[:1])
    return [_shown(ask, number, newest[number]) for number in sorted(kept)]


def _shown(ask: Ask, number: int, reading: int) -> JsonTable:
    whole = ask(Reading(id=reading))
    return {
        "card": unpack(ask(CardCall(number=number)).layout_packed),
        "reading": measured_in(whole),
        "marks": whole.marks,
    }
