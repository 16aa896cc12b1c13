"""Test cards between page, logbook and child process: laid out, etched, read, chosen from."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from etchproof.card import FOCUS, POWER, REGISTER, Card
from etchproof.choosing.bed_focus import BedFocus, places_of
from etchproof.choosing.filed_cards import (
    earlier_cards,
    greys_left_behind,
    in_force_for,
    measured_in,
    newest_reading,
)
from etchweb.daemon.protocol import Daemon
from etchweb.previews.store import pass_on
from etchweb.storage.card_files import CARDS_FOLDER, PICTURES_OF_JOB, CardFiles
from etchweb.workers.work import WorkItem, WorkQueue
from etchwire.calls.catalogue import (
    AcceptReading,
    Cards,
    Readings,
    SaveCard,
    SaveReading,
    WholeCard,
    WholeReading,
)
from etchwire.calls.catalogue import Card as CardQuestion
from etchwire.catalogue.records import CardRecord, ReadingRecord, SparePlace
from etchwire.errors import Refused
from etchwire.packing import pack, unpack
from etchwire.sheet import GCODE_NAME, SHEET_NAME, Sheet
from etchwire.transport.json_text import JsonTable

FOCUS_LOOKED_AT: Final = 100  # readings of a laser, for the newest of each place of the bed
LAYOUT_NAME: Final = "card.json"  # etchproof's name for it, beside the job


@dataclass(frozen=True, slots=True)
class KnownCard:
    """A test card as far as it is known; `record` is the logbook's, `layout` etchproof's card."""

    number: int
    files: CardFiles
    record: WholeCard | None
    layout_json: str | None

    @property
    def layout(self) -> Card | None:
        """The layout; raise UnreadableCard."""
        return None if self.layout_json is None else Card.from_json(self.layout_json)


@dataclass(frozen=True, slots=True)
class CardWorkflow:
    """Everything that is done with test cards; used by many threads at once."""

    daemon: Daemon
    folder: Path  # the page's own
    pictures: Path
    works: WorkQueue

    def begin(self, order_of: Callable[[int], JsonTable]) -> int:
        """Have a card laid out under a number of its own, and return that number."""
        number = self.daemon.ask(Cards(limit=1)).next_number
        home = self.folder / CARDS_FOLDER
        home.mkdir(parents=True, exist_ok=True, mode=0o700)
        while True:
            files = CardFiles.of(self.folder, number)
            order = order_of(number)
            try:
                files.folder.mkdir(mode=0o700)
            except FileExistsError:  # somebody else is having one laid out
                number += 1
                continue
            try:
                key = files.order({"card": order})
            except OSError:  # a card that takes nothing: the number stays free
                files.folder.rmdir()
                raise
            self.works.begin(files.folder, "card", key)
            return number

    def taken_places(self) -> list[SparePlace]:
        """Return the places that cards have taken of spare tiles; raise DaemonAbsent, Refused."""
        return [card.place for card in self.daemon.ask(Cards()).cards if card.place]

    def find(self, number: int) -> KnownCard | None:
        """Return what is known of a card; raise DaemonAbsent."""
        files = CardFiles.of(self.folder, number)
        try:
            record = self.daemon.ask(CardQuestion(number=number))
        except Refused:
            record = None
        if record is not None:
            return KnownCard(number, files, record, unpack(record.layout_packed))
        if files.ordered() is None:
            return None
        job = files.job()
        made = files.made() is not None and job is not None
        layout = (job / LAYOUT_NAME).read_text("utf-8") if made and job else None
        return KnownCard(number, files, None, layout)

    def making(self, card: KnownCard) -> WorkItem | None:
        """Return the work on a card's job while it is not made."""
        order = card.files.ordered()
        if card.record is not None or order is None or card.files.made() is not None:
            return None
        return self._work_on(card, "card", order["of"])

    def reading(self, card: KnownCard) -> WorkItem | None:
        """Return the work on a card's newest question while it is not answered."""
        question = card.files.asked()
        if question is None or card.files.read() is not None:
            return None
        return self._work_on(card, "read", question["of"])

    def _work_on(self, card: KnownCard, verb: str, key: str) -> WorkItem:
        """Return that work, begun where it is not; one that failed stays failed until forgotten."""
        folder = card.files.folder
        return self.works.failed(folder.name, verb, key) or self.works.begin(folder, verb, key)

    def forget_work(self, card: KnownCard) -> None:
        """Forget the work on a card, so that looking again tries again."""
        self.works.forget(card.files.folder.name)

    def put_on_bench(self, card: KnownCard, who: str) -> None:
        """File the card, and hand its job to the daemon; raise Refused or DaemonAbsent."""
        job, layout = card.files.job(), card.layout
        if job is None or layout is None:
            raise Refused("refused", "This test card’s job is no longer kept here. Make a new one.")
        sheet = Sheet.from_json((job / SHEET_NAME).read_bytes())
        if card.record is None:
            filed = CardRecord(
                number=card.number,
                kind=layout.kind,
                head=layout.head.name,
                surface=layout.recipe.surface,
                gcode_sha256=sheet.gcode_sha256,
                layout_packed=pack(card.layout_json or ""),
                place=(card.files.made() or {}).get("place"),
            )
            self.daemon.ask(SaveCard(card=filed, who=who))
        made = card.files.folder / PICTURES_OF_JOB
        pass_on(made, folder=self.pictures, gcode_sha256=sheet.gcode_sha256)
        self.daemon.load(job / GCODE_NAME, job / SHEET_NAME)

    def so_far(self, card: KnownCard) -> JsonTable:
        """Return what is known of what a card shows: the open question's, or the last filed."""
        read, asked = card.files.read(), card.files.asked()
        if read is not None:
            return {name: read[name] for name in ("reading", "overlays", "marks", "meets")}
        if asked is not None:
            return {name: asked[name] for name in ("reading", "overlays", "marks", "meets")}
        filed = self.filed(card.number)
        if filed is None:
            return {"reading": "", "overlays": [], "marks": {}, "meets": {}}
        is_register = filed.kind == REGISTER
        return {
            "reading": measured_in(filed),
            "overlays": list(filed.photos),
            "marks": {} if is_register else filed.marks,
            "meets": filed.marks if is_register else {},
        }

    def ask(self, card: KnownCard, **changes: object) -> None:
        """Have a card read with `changes` to what is known so far; raise DaemonAbsent, Refused."""
        ask, layout = self.daemon.ask, card.layout
        question = {
            "card": card.layout_json,
            "photos": [],
            "names": [],
            "is_wiped": True,
            "earlier": [] if layout is None else earlier_cards(ask, layout),
            "in_force": None if layout is None else in_force_for(ask, layout),
            **self.so_far(card),
            **changes,
        }
        key = card.files.question(question)
        self.works.begin(card.files.folder, "read", key)

    def file_reading(self, card: KnownCard, chosen: JsonTable | None, who: str) -> None:
        """Put what was read into the logbook, and what was chosen; raise Refused, DaemonAbsent."""
        read = card.files.read()
        if read is None:
            raise Refused("refused", "This reading has been saved already.")
        record = ReadingRecord(
            card=card.number,
            way=read["way"],
            measured_packed=pack(read["reading"]) if read["reading"] else "",
            marks=read["marks"] or read["meets"],
            photos=read["overlays"],
            summary=read["summary"],
            recommended=read["recommended"],
        )
        filed = self.daemon.ask(SaveReading(reading=record, who=who))
        card.files.drop_question()
        if chosen is not None and filed.id is not None:
            self.daemon.ask(AcceptReading(reading=filed.id, chosen=chosen, who=who))

    def greys_left_behind(self, card: KnownCard) -> str:
        """Return that taking a power card's recipe leaves greys behind; else nothing."""
        layout = card.layout
        if layout is None or layout.kind != POWER:
            return ""
        return greys_left_behind(self.daemon.ask, layout.head.name, layout.recipe.surface)

    def bed_focus(self, card: KnownCard) -> BedFocus | None:
        """Return what focus cards of its laser say of the bed, with what is open of this one."""
        layout, read = card.layout, card.files.read()
        if layout is None or layout.wedge is None or not layout.wedge.bed_place:
            return None
        filed = self.daemon.ask(Readings(head=layout.head.name, limit=FOCUS_LOOKED_AT)).readings
        summaries = [one.summary for one in filed if one.kind == FOCUS]
        return BedFocus.of(places_of([*([read["summary"]] if read else []), *summaries]))

    def filed(self, number: int) -> WholeReading | None:
        """Return the newest reading of a card in the logbook, whole; none of a worn strip.

        Raise DaemonAbsent or Refused.
        """
        return newest_reading(self.daemon.ask, number)

    def read_before(self, card: KnownCard) -> str:
        """Return what a strip showed before it was worn, as JSON; empty where nothing is filed."""
        return measured_in(self.filed(card.number))
