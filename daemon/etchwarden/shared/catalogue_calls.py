"""What commands say to and hear from the logbook about lasers, surfaces, recipes and cards."""

import getpass
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import click

from etchproof.card import CHECK, FOCUS, Card
from etchproof.choosing.bed_focus import BedFocus, places_of
from etchproof.choosing.card_result import CardEvidence, CardResult
from etchproof.choosing.kinds import EARLIER, EARLIER_KINDS, recipe_table
from etchproof.drift.advice import advice_on
from etchproof.errors import UnfitCard
from etchwarden.shared.heads import find_head
from etchwire.calls.catalogue import (
    AcceptReading,
    Cards,
    Heads,
    Reading,
    Readings,
    RecipeEntry,
    Recipes,
    SaveCard,
    SaveHead,
    SaveReading,
    SaveSurface,
    Surfaces,
)
from etchwire.calls.catalogue import Card as CardCall
from etchwire.calls.client import DaemonClient
from etchwire.calls.time_line import History
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Head, Recipe
from etchwire.catalogue.records import CardRecord, ReadingRecord, SparePlace, Surface
from etchwire.errors import Refused, WireError
from etchwire.packing import pack, unpack
from etchwire.sheet import Sheet
from etchwire.transport.json_text import JsonTable

CARDS_LOOKED_AT: Final = 50


@dataclass(frozen=True, slots=True)
class CatalogueCalls:
    """A connection to the daemon, and who speaks."""

    daemon: DaemonClient
    who: str

    def head(self, name: str) -> Head:
        """Return the laser of that name, as the logbook has it or as a file describes it.

        What a file describes is saved; it keeps the register that was measured here.
        """
        heads_by_name = {one.name: one.head for one in self.daemon.ask(Heads()).heads}
        stored = heads_by_name.get(PRACTICE_HEADS[name].name if name in PRACTICE_HEADS else name)
        if stored is not None:
            return stored
        head = find_head(name)
        if head.name in heads_by_name and not head.register.is_measured:
            head = replace(head, register=heads_by_name[head.name].register)
        self.daemon.ask(SaveHead(head=head, who=self.who))
        return head

    def require_surface(self, name: str) -> None:
        """Have a surface of that name in the logbook, described or not."""
        if name not in [one.name for one in self.daemon.ask(Surfaces()).surfaces]:
            self.daemon.ask(SaveSurface(surface=Surface(name=name), who=self.who))
            click.echo(
                f"Note: {name!r} is new: say more of it with etchwarden surface set.", err=True
            )

    def recipe_in_force(self, head: str, surface: str) -> RecipeEntry | None:
        """Return the recipe in force for a laser on a surface."""
        recipes = self.daemon.ask(Recipes(head=head, surface=surface)).recipes
        return next((recipe for recipe in recipes if recipe.is_in_force), None)

    def advice(self, head: str, surface: str, *, air_assist: bool | None = None) -> list[str]:
        """Return sentences that say why to test again; `air_assist` is how it will be."""
        history = self.daemon.ask(History(head=head, surface=surface))
        return [due.advice for due in advice_on(history, air_assist=air_assist)]

    def next_number(self) -> int:
        """Return the number of the next card."""
        return self.daemon.ask(Cards(limit=1)).next_number

    def require_free(self, number: int) -> None:
        """Raise UnfitCard when there is a card of that number."""
        try:
            self.daemon.ask(CardCall(number=number))
        except Refused:
            return
        raise UnfitCard(f"there is a card {number} in the logbook: leave --number out")

    def places_on(self, tile: str) -> list[SparePlace]:
        """Return the places of a spare tile that the latest cards have taken."""
        filed = self.daemon.ask(Cards()).cards
        places = [SparePlace.from_table(card.place) for card in filed if card.place]
        return [place for place in places if place.tile == tile]

    def file_card(self, card: Card, sheet: Sheet, place: SparePlace | None = None) -> None:
        """Put a card that was laid out into the logbook."""
        record = CardRecord(
            number=card.number,
            kind=card.kind,
            head=card.head.name,
            surface=card.recipe.surface,
            gcode_sha256=sheet.gcode_sha256,
            layout_packed=pack(card.to_json()),
            place=None if place is None else place.to_table(),
        )
        self.daemon.ask(SaveCard(card=record, who=self.who))

    def cards(self) -> list[Card]:
        """Return the cards that were laid out last."""
        filed = self.daemon.ask(Cards(limit=CARDS_LOOKED_AT)).cards
        return [self.card(one.number) for one in filed]

    def card(self, number: int) -> Card:
        """Return the card of that number."""
        return Card.from_json(unpack(self.daemon.ask(CardCall(number=number)).layout_packed))

    def earlier(self, card: Card) -> list[CardEvidence]:
        """Return the cards of its laser and surface that it is read with, oldest first."""
        kinds = EARLIER_KINDS.get(card.kind, ())
        if not kinds:
            return []
        newest: dict[int, int] = {}
        of_pair = Readings(head=card.head.name, surface=card.recipe.surface)
        for reading in self.daemon.ask(of_pair).readings:
            is_worn = "trial" in reading.summary
            if reading.kind in kinds and reading.card_number < card.number and not is_worn:
                newest.setdefault(reading.card_number, reading.id)
        return [self._shown(number, newest[number]) for number in sorted(newest)[-EARLIER:]]

    def read_before(self, card: Card) -> str:
        """Return what a strip showed before it was worn, as JSON; empty where it was not read."""
        readings = self.daemon.ask(Readings(card=card.number)).readings
        fresh = [reading for reading in readings if "trial" not in reading.summary]
        if not fresh:
            return ""
        packed = self.daemon.ask(Reading(id=fresh[0].id)).measured_packed
        return unpack(packed) if packed else ""

    def in_force_for(self, card: Card) -> JsonTable | None:
        """Return the recipe in force as a check strip needs it; None for any other card."""
        if card.kind != CHECK:
            return None
        kept = self.recipe_in_force(card.head.name, card.recipe.surface)
        return None if kept is None else recipe_table(kept)

    def file_reading(
        self, evidence: CardEvidence, result: CardResult, *, photos: Sequence[str]
    ) -> int:
        """Put what a card showed into the logbook; return the reading's number."""
        record = ReadingRecord(
            card=evidence.card.number,
            way=evidence.way,
            measured_packed=pack(evidence.reading.to_json()) if evidence.reading else "",
            marks=evidence.marks_table,
            photos=tuple(photos),
            summary=result.summary,
            recommended=result.recommended,
        )
        return self.daemon.ask(SaveReading(reading=record, who=self.who)).id or 0

    def bed_focus(self, head: str) -> BedFocus | None:
        """Return what the focus cards of a laser say of its bed."""
        filed = self.daemon.ask(Readings(head=head)).readings
        return BedFocus.of(places_of(one.summary for one in filed if one.kind == FOCUS))

    def accept(self, reading: int, chosen: JsonTable) -> None:
        """Choose after a reading."""
        self.daemon.ask(AcceptReading(reading=reading, chosen=chosen, who=self.who))

    def _shown(self, number: int, reading: int) -> CardEvidence:
        whole = self.daemon.ask(Reading(id=reading))
        return CardEvidence.from_table(
            {
                "card": self.card(number).to_json(),
                "reading": unpack(whole.measured_packed) if whole.measured_packed else "",
                "marks": whole.marks,
            }
        )


@contextmanager
def catalogue_calls_at(socket: Path) -> Iterator[CatalogueCalls]:
    """Connect; what goes wrong on the wire ends the command with a sentence."""
    try:
        with DaemonClient(socket) as daemon:
            yield CatalogueCalls(daemon, _who())
    except WireError as error:
        raise click.ClickException(sentence(error)) from error


def settings_of(kept: RecipeEntry) -> Recipe:
    """Return what a job needs of a recipe that is kept in the logbook."""
    return Recipe(**{name: getattr(kept, name) for name in Recipe.__slots__})


def sentence(error: Exception) -> str:
    """Return the error as one sentence with its full stop."""
    text = str(error)
    return text if text.endswith(".") else f"{text}."


def _who() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):  # no such user, as in a container
        return ""
