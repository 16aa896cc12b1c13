"""What is written of cards, readings and verdicts, one kind of entry each; see `entries`."""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from etchdaemon.errors import CommandRefused
from etchdaemon.logbook.write.catalogue_entries import RecipeSaved
from etchdaemon.logbook.write.insert_statements import (
    Stamp,
    has,
    insert,
    made,
    newest_run,
    pair,
    require,
)
from etchwire.catalogue.records import CardRecord, ReadingRecord, RecipeRecord, VerdictRecord


@dataclass(frozen=True, slots=True)
class CardSaved:
    """A card was laid out; the run with its G-code is its burning."""

    card: CardRecord
    stamp: Stamp

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it; raise CommandRefused where its number is taken."""
        card = self.card
        if has(book, "card", card.number, key="number"):
            raise CommandRefused(f"There is a card {card.number} already: choose another number.")
        columns = {
            "number": card.number,
            "kind": card.kind,
            **pair(book, card.head, card.surface),
            "gcode_sha256": card.gcode_sha256,
            "layout_packed": card.layout_packed,
            "place_json": None if card.place is None else json.dumps(card.place),
            **made(self.stamp, book),
        }
        return insert(book, "card", columns)


@dataclass(frozen=True, slots=True)
class ReadingSaved:
    """A card was read."""

    reading: ReadingRecord
    stamp: Stamp

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it; raise CommandRefused where its card is not kept."""
        reading = self.reading
        require(book, "card", reading.card, key="number")
        recommended = reading.recommended
        columns = {
            "card_number": reading.card,
            "way": reading.way,
            "measured_packed": reading.measured_packed,
            "marks_json": json.dumps(reading.marks),
            "photos_json": json.dumps(reading.photos),
            "summary_json": json.dumps(reading.summary),
            "recommended_json": None if recommended is None else json.dumps(recommended),
            **made(self.stamp, book),
        }
        return insert(book, "reading", columns)


@dataclass(frozen=True, slots=True)
class ReadingAccepted:
    """A person chose: a recipe comes into force, or a head gets its register or its spot."""

    reading: int
    chosen: Mapping[str, object]
    stamp: Stamp
    recipe: RecipeRecord | None = None  # its head and surface are those of the card
    head_changes: Mapping[str, object] = field(default_factory=dict)  # entries of the head's table

    def write(self, book: sqlite3.Connection) -> int | None:
        """Note the choice and what follows from it; return the recipe's number, if there is one."""
        require(book, "reading", self.reading, key="id")
        book.execute(
            "UPDATE reading SET chosen_json = ?, chosen_by = ?, chosen_at_utc = ? WHERE id = ?",
            (json.dumps(self.chosen), self.stamp.who, self.stamp.at_utc, self.reading),
        )
        head, surface = book.execute(
            "SELECT head, surface FROM card WHERE number ="
            " (SELECT card_number FROM reading WHERE id = ?)",
            (self.reading,),
        ).fetchone()
        if self.head_changes:
            self._write_head(book, head)
        if self.recipe is None:
            return None
        recipe = replace(self.recipe, head=head, surface=surface)
        return RecipeSaved(recipe, self.stamp).write(book)

    def _write_head(self, book: sqlite3.Connection, head: str) -> None:
        (head_json,) = book.execute("SELECT head_json FROM head WHERE name = ?", (head,)).fetchone()
        table = {**json.loads(head_json), **self.head_changes}
        book.execute(
            "UPDATE head SET head_json = ?, who = ?, changed_at_utc = ? WHERE name = ?",
            (json.dumps(table), self.stamp.who, self.stamp.at_utc, head),
        )


@dataclass(frozen=True, slots=True)
class VerdictSaved:
    """The wiped tile of a run was looked at; a later verdict counts instead of an earlier one."""

    verdict: VerdictRecord
    stamp: Stamp

    def write(self, book: sqlite3.Connection) -> int | None:
        """Write it; raise CommandRefused where there is no such run, or it goes on."""
        verdict = self.verdict
        require(book, "run", verdict.run, key="id")
        (ended,) = book.execute("SELECT ended FROM run WHERE id = ?", (verdict.run,)).fetchone()
        if ended is None:
            raise CommandRefused(f"Run {verdict.run} is still going on: let it end and cool first.")
        columns = {
            "run_id": verdict.run,
            "verdict": verdict.verdict,
            "cause": verdict.cause,
            "note": verdict.note,
            "photo": verdict.photo,
            "at_utc": self.stamp.at_utc,
            "after_run_id": newest_run(book),
            "who": self.stamp.who,
        }
        return insert(book, "verdict", columns)
