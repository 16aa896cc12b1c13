"""What the fake daemon keeps of test cards, so that a page's whole round can be played."""

from etchwire.catalogue.examples import PRACTICE_SURFACES
from etchwire.catalogue.records import CardRecord, ReadingRecord
from etchwire.errors import Refused
from etchwire.packing import pack, unpack

MADE_UTC = "2026-11-25T09:00:00+00:00"


class CardBook:
    """Cards, readings and choices, answered as the logbook does."""

    def __init__(self, daemon) -> None:
        self.cards = {}
        self.readings = []
        self.accepted = []
        daemon.answers |= {
            "cards": self.answer_cards,
            "card": self.answer_card,
            "readings": self.answer_readings,
            "reading": lambda **params: self.readings[params["id"] - 1],
            "save_card": self.save_card,
            "save_reading": self.save_reading,
            "accept_reading": self.accept_reading,
        }

    def file(self, card) -> None:
        """Have a card in the logbook that was laid out, and no more."""
        filed = {
            "number": card.number, "kind": card.kind, "head": card.head.name,
            "surface": card.recipe.surface, "gcode_sha256": "ab" * 32,
            "layout_packed": pack(card.to_json()),
        }  # fmt: skip
        self.save_card(filed, "")

    def burn(self, number) -> None:
        """Say that the card was etched."""
        self.cards[number] |= {"run_id": 1, "run_ended": "complete"}

    def answer_cards(self, **_params):
        cards = [dict(card) for card in self.cards.values()]
        number = max(self.cards, default=0) + 1
        return {"cards": cards, "next_before": None, "next_number": number}

    def answer_card(self, number):
        if number not in self.cards:
            raise Refused("refused", f"There is no card {number} in the logbook.")
        return self.cards[number]

    def save_card(self, card, who):
        self.cards[card["number"]] = CardRecord.from_table(card).to_table() | {
            "found_on": PRACTICE_SURFACES[0].to_table(),
            "at_utc": MADE_UTC,
            "who": who,
            "software": "0.1.0",
            "run_id": None,
            "run_ended": None,
            "reading_id": None,
        }
        return {"id": card["number"]}

    def answer_readings(self, card=None, **_params):
        found = [one for one in reversed(self.readings) if card in (None, one["card_number"])]
        return {"readings": found, "next_before": None}

    def save_reading(self, reading, who):
        ReadingRecord.from_table(reading)
        if reading["measured_packed"]:
            unpack(reading["measured_packed"])
        number = len(self.readings) + 1
        card = self.cards[reading["card"]]
        kept = {
            **reading,
            "id": number,
            "card_number": card["number"],
            **{name: card[name] for name in ("kind", "head", "surface")},
            **dict.fromkeys(("chosen", "chosen_by", "chosen_at_utc")),
            "at_utc": MADE_UTC,
            "who": who,
            "software": "0.1.0",
        }
        self.readings.append(kept)
        self.cards[reading["card"]]["reading_id"] = number
        return {"id": number}

    def accept_reading(self, reading, chosen, who):
        self.accepted.append((reading, chosen))
        self.readings[reading - 1]["chosen_by"] = who
        return {"id": 1}
