"""What may be asked and noted of the catalogue: lasers, surfaces, recipes, cards, verdicts."""

from typing import Final

from etchwire.calls.call import Call, Question, WholeNumber
from etchwire.calls.history import MOST_ROWS
from etchwire.catalogue.heads import Head, SpotFound
from etchwire.catalogue.jigs import JigRecord
from etchwire.catalogue.lots import Lot
from etchwire.catalogue.records import CardRecord, ReadingRecord, RecipeRecord, SparePlace, Surface
from etchwire.transport.json_text import JsonTable
from etchwire.wire_value import WireValue


class HeadEntry(WireValue):
    """A laser, its seconds of beam, and when its lens was wiped last."""

    name: str
    head: Head
    notes: str
    is_practice: bool
    who: str
    changed_at_utc: str
    beam_s: float
    lens_wiped_at_utc: str | None
    beam_since_wipe_s: float | None
    spot_found: SpotFound | None


class HeadList(WireValue):
    """All lasers."""

    heads: tuple[HeadEntry, ...]


class FilterEntry(WireValue):
    """The extraction's filter: when it was changed last, and for how long was burnt since then.

    Where nobody noted a change (None) all the beam counts that the logbook knows. `limit_h` is
    the shop's, in hours of beam; 0: none was set.
    """

    changed_at_utc: str | None
    beam_since_change_s: float
    limit_h: float


class SurfaceEntry(WireValue):
    """Tile and paint as they are now."""

    name: str
    surface: Surface
    is_practice: bool
    who: str
    changed_at_utc: str


class SurfaceList(WireValue):
    """All surfaces."""

    surfaces: tuple[SurfaceEntry, ...]


class LotEntry(WireValue):
    """A painting lot; `is_overnight_assumed`: nobody told the paint's hours.

    `runs` is how many etches were on a tile of it.
    """

    name: str
    lot: Lot
    dry_after_h: float
    is_overnight_assumed: bool
    dry_at_utc: str
    runs: int
    who: str
    changed_at_utc: str


class LotList(WireValue):
    """Painting lots, the one painted last first."""

    lots: tuple[LotEntry, ...]


class JigEntry(WireValue):
    """A jig of this machine."""

    name: str
    jig: JigRecord
    who: str
    changed_at_utc: str


class JigList(WireValue):
    """All jigs of this machine."""

    jigs: tuple[JigEntry, ...]


class RecipeEntry(WireValue):
    """A recipe that was kept; `found_on` is the surface as it was then.

    `is_in_force` marks one for a head and a surface; None: all of theirs are retired.
    """

    id: int
    head: str
    surface: str
    found_on: Surface
    feed_mm_per_min: float
    power_ratio: float
    line_spacing_mm: float
    halftone: str
    tone_curve: JsonTable | None
    origin: str
    reading_id: int | None
    card_number: int | None
    at_utc: str
    who: str
    software: str
    retired_at_utc: str | None
    is_in_force: bool | None
    air_assist: bool


class RecipeList(WireValue):
    """Recipes, newest first."""

    recipes: tuple[RecipeEntry, ...]


class CardEntry(WireValue):
    """A card in a list: the run that etched it, the last reading of it, its place on a tile."""

    number: int
    kind: str
    head: str
    surface: str
    found_on: Surface
    gcode_sha256: str
    at_utc: str
    who: str
    software: str
    run_id: int | None
    run_ended: str | None
    reading_id: int | None
    place: SparePlace | None


class WholeCard(CardEntry):
    """A card with its layout, packed."""

    layout_packed: str


class CardsPage(WireValue):
    """Cards, newest first; the next card to be filed gets `next_number`."""

    cards: tuple[CardEntry, ...]
    next_before: int | None
    next_number: int


class ReadingEntry(WireValue):
    """What a card showed, without its patches; `chosen` is what came of it."""

    id: int
    card_number: int
    kind: str
    head: str
    surface: str
    way: str
    marks: JsonTable
    photos: tuple[str, ...]
    summary: JsonTable
    recommended: JsonTable | None
    chosen: JsonTable | None
    chosen_by: str | None
    chosen_at_utc: str | None
    at_utc: str
    who: str
    software: str


class WholeReading(ReadingEntry):
    """A reading with its patches, packed."""

    measured_packed: str


class ReadingsPage(WireValue):
    """Readings, newest first."""

    readings: tuple[ReadingEntry, ...]
    next_before: int | None


class Noted(WireValue):
    """What was noted is on disk, under this number."""

    id: int | None


class Note(Call[Noted], kw_only=True):
    """Something noted in the catalogue, by `who`."""

    who: str = ""


class Heads(Question[HeadList]):
    """Lasers, with their seconds of beam and their lens."""


class Filter(Question[FilterEntry]):
    """The extraction's filter, its seconds of beam and the shop's limit."""


class Surfaces(Question[SurfaceList]):
    """Tiles and paints as they are now."""


class Lots(Question[LotList]):
    """Painting lots of a surface, or of all, newest first."""

    surface: str = ""


class Jigs(Question[JigList]):
    """Jigs of this machine, by their names."""


class Recipes(Question[RecipeList]):
    """Recipes, newest first; `is_in_force` marks one a pair."""

    head: str = ""
    surface: str = ""


class Cards(Question[CardsPage]):
    """Cards, newest first, without layouts, and the `next_number`."""

    head: str = ""
    surface: str = ""
    before: WholeNumber | None = None
    limit: WholeNumber = MOST_ROWS


class Card(Question[WholeCard]):
    """One card with its layout, packed."""

    number: WholeNumber


class Readings(Question[ReadingsPage]):
    """What cards showed, newest first, without the patches."""

    head: str = ""
    surface: str = ""
    card: WholeNumber | None = None
    before: WholeNumber | None = None
    limit: WholeNumber = MOST_ROWS


class Reading(Question[WholeReading]):
    """One reading with its patches, packed."""

    id: WholeNumber


class SaveHead(Note):
    """Describe a laser, over what stood under its name."""

    head: Head
    notes: str = ""


class WipeLens(Note):
    """Note a wiped lens."""

    head: str


class ChangeFilter(Note):
    """Note a new filter in the extraction."""


class SaveSurface(Note):
    """Describe tile and paint, over what stood under that name."""

    surface: Surface


class SaveLot(Note):
    """Describe a painting lot, over what stood under its name; a new one is the surface's now."""

    lot: Lot


class SaveJig(Note):
    """Keep a jig with this machine, over what stood under its name."""

    jig: JigRecord


class AssignedTile(WireValue):
    """One tile of a job of several: its pocket, its lot, and the item of an order that it is for.

    An empty lot is that of the whole job. `mural` names the picture over several tiles of which it
    is one, as the page calls it.
    """

    pocket: WholeNumber
    lot: str = ""
    item: WholeNumber | None = None
    mural: str = ""


class AssignTile(Note):
    """Say of which lot a tile is: that of a `run`, or the next that a job is etched on.

    And for which `item` of an order, whose customer must have said yes to `design_sha256`; `items`
    and `tiles` are those of a job of several. Tiles of one `mural`, and of a matching set, are
    refused from two lots.
    """

    lot: str = ""
    run: WholeNumber | None = None
    gcode_sha256: str = ""
    item: WholeNumber | None = None
    design_sha256: str = ""
    items: tuple[WholeNumber, ...] = ()
    mural: str = ""
    tiles: tuple[AssignedTile, ...] = ()


class SaveRecipe(Note):
    """Bring a recipe into force."""

    recipe: RecipeRecord


class RetireRecipe(Note):
    """Take a recipe out of force; it is kept, and the one before it is in force again."""

    id: WholeNumber


class SaveCard(Note):
    """File a card under a number of its own."""

    card: CardRecord


class SaveReading(Note):
    """File what a card showed."""

    reading: ReadingRecord


class AcceptReading(Note):
    """Choose after a `reading`.

    `chosen` holds a `recipe`, which comes into force, or a `register` or a `spot` for the laser.
    """

    reading: WholeNumber
    chosen: JsonTable


class SaveVerdict(Note):
    """Say what the wiped tile of a run looked like, or that in one `pocket` of several."""

    run: WholeNumber
    verdict: str
    cause: str = ""
    note: str = ""
    photo: str = ""
    pocket: WholeNumber | None = None


CATALOGUE_QUESTIONS: Final = (
    Heads, Filter, Surfaces, Lots, Jigs, Recipes, Cards, Card, Readings, Reading,
)  # fmt: skip
CATALOGUE_NOTES: Final[tuple[type[Note], ...]] = (
    SaveHead, WipeLens, ChangeFilter, SaveSurface, SaveLot, SaveJig, AssignTile, SaveRecipe,
    RetireRecipe,
    SaveCard, SaveReading, AcceptReading, SaveVerdict,
)  # fmt: skip
