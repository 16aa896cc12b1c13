"""What commands say to and hear from the logbook about test cards."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click

from etchphoto.errors import EtchphotoError
from etchproof.card import FOCUS, Card
from etchproof.choosing.bed_focus import BedFocus, places_of
from etchproof.choosing.card_result import CardEvidence, CardResult
from etchproof.choosing.next_card import NextCard, PairState, next_card
from etchproof.errors import EtchproofError, UnfitCard
from etchwarden.shared.catalogue_calls import CatalogueCalls, catalogue_calls_at
from etchwarden.shared.machine_calls import sentence
from etchwire.calls.catalogue import (
    AcceptReading,
    Cards,
    Readings,
    SaveCard,
    SaveReading,
)
from etchwire.calls.catalogue import Card as CardCall
from etchwire.catalogue.records import CardRecord, ReadingRecord, SparePlace
from etchwire.errors import Refused, WireError
from etchwire.packing import pack, unpack
from etchwire.record import Ask
from etchwire.sheet import Sheet
from etchwire.transport.json_text import JsonTable

CARDS_LOOKED_AT: Final = 50


@dataclass(frozen=True, slots=True)
class CardCalls:
    """The logbook's cards and readings, over the connection of `catalogue`."""

    catalogue: CatalogueCalls

    @property
    def ask(self) -> Ask:
        """What asks the logbook."""
        return self.catalogue.daemon.ask

    def next_number(self) -> int:
        """Return the number of the next card."""
        return self.ask(Cards(limit=1)).next_number

    def require_free(self, number: int) -> None:
        """Raise UnfitCard when there is a card of that number."""
        try:
            self.ask(CardCall(number=number))
        except Refused:
            return
        raise UnfitCard(f"there is a card {number} in the logbook: leave --number out")

    def places_on(self, tile: str) -> list[SparePlace]:
        """Return the places of a spare tile that the latest cards have taken."""
        places = (card.place for card in self.ask(Cards()).cards)
        return [place for place in places if place is not None and place.tile == tile]

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
        self.ask(SaveCard(card=record, who=self.catalogue.who))

    def cards(self) -> list[Card]:
        """Return the cards that were laid out last."""
        filed = self.ask(Cards(limit=CARDS_LOOKED_AT)).cards
        return [self.card(one.number) for one in filed]

    def card(self, number: int) -> Card:
        """Return the card of that number."""
        return Card.from_json(unpack(self.ask(CardCall(number=number)).layout_packed))

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
        return self.ask(SaveReading(reading=record, who=self.catalogue.who)).id or 0

    def bed_focus(self, head: str) -> BedFocus | None:
        """Return what the focus cards of a laser say of its bed."""
        filed = self.ask(Readings(head=head)).readings
        return BedFocus.of(places_of(one.summary for one in filed if one.kind == FOCUS))

    def next_card(self, card: Card) -> NextCard | None:
        """Return the card that is due after `card`; None where the pair is ready for pictures."""
        head, surface = card.head.name, card.recipe.surface
        filed = self.ask(Readings(head=head, surface=surface)).readings
        state = PairState.of(
            self.catalogue.head(head),
            self.catalogue.recipe_in_force(head, surface),
            (one.kind for one in filed),
        )
        return next_card(state)

    def accept(self, reading: int, chosen: JsonTable) -> None:
        """Choose after a reading."""
        self.ask(AcceptReading(reading=reading, chosen=chosen, who=self.catalogue.who))


@contextmanager
def card_calls_at(socket: Path | None) -> Iterator[CardCalls | None]:
    """Connect as `catalogue_calls_at` does, where a socket was named at all."""
    if socket is None:
        yield None
        return
    with catalogue_calls_at(socket) as catalogue:
        yield CardCalls(catalogue)


@contextmanager
def refusals_reported() -> Iterator[None]:
    """Tell why no card is made or read; the daemon's own refusal is told where it was asked."""
    try:
        yield
    except Refused:
        raise
    except (EtchproofError, EtchphotoError, WireError) as error:
        raise click.ClickException(sentence(error)) from error
