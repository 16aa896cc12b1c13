"""What happened with one laser on one surface, in its order, and when to test again."""

from collections.abc import Mapping
from typing import Final

from etchwire.calls.call import Question, WholeNumber
from etchwire.calls.catalogue import HeadEntry, RecipeEntry, SurfaceEntry
from etchwire.calls.history import MOST_ROWS
from etchwire.transport.json_text import JsonTable
from etchwire.wire_value import WireValue


class TimeLineEvent:
    """Something that happened: one of the types below, by its kind."""

    __slots__ = ()

    at_utc: str
    kind: str
    id: int
    beam_h: float  # the laser's hours of beam up to then


class UnknownEvent(TimeLineEvent, WireValue):
    """Something of a kind that this release does not know."""

    at_utc: str
    kind: str
    id: int
    beam_h: float


class LensWiped(UnknownEvent):
    """A lens was wiped."""

    who: str


class CardFiled(UnknownEvent):
    """A card was filed, and maybe etched."""

    card_kind: str
    who: str
    run_id: int | None


class RunMade(UnknownEvent):
    """A picture or a card was etched; `verdict` is the last that was given."""

    title: str
    ended: str | None
    elapsed_s: float | None
    beam_s: float | None
    feed_asked_mm_per_min: float
    feed_run_mm_per_min: float | None
    power_asked_ratio: float
    power_run_ratio: float | None
    line_spacing_mm: float
    etched_rows: int | None
    rows: int
    card_number: int | None
    verdict: str | None


class CardRead(UnknownEvent):
    """A card was read, and maybe something chosen after it."""

    card_number: int
    card_kind: str
    way: str
    who: str
    summary: JsonTable
    recommended: JsonTable | None
    chosen: JsonTable | None
    chosen_by: str | None


class RecipeSaved(UnknownEvent):
    """A recipe came into force."""

    feed_mm_per_min: float
    power_ratio: float
    line_spacing_mm: float
    is_air_assist: bool
    is_tone_measured: bool
    origin: str
    reading_id: int | None
    who: str
    retired_at_utc: str | None


class TileJudged(UnknownEvent):
    """The wiped tile of a run was judged."""

    run_id: int
    verdict: str
    cause: str
    note: str
    who: str


EVENT_TYPES: Final[Mapping[str, type[UnknownEvent]]] = {
    "lens wiped": LensWiped,
    "card": CardFiled,
    "run": RunMade,
    "reading": CardRead,
    "recipe": RecipeSaved,
    "verdict": TileJudged,
}


class TimeLinePage(WireValue):
    """What happened, newest first; `next_before` asks for more."""

    events: tuple[TimeLineEvent, ...]
    next_before: str | None


class LateRun(WireValue):
    """A complete run since the recipe came into force: the speed asked for and the speed run."""

    id: int
    feed_asked_mm_per_min: float
    feed_run_mm_per_min: float | None


class LateVerdict(WireValue):
    """The last verdict on a run since the recipe came into force."""

    run_id: int
    verdict: str
    cause: str = ""


class LateReading(WireValue):
    """What a card showed at the recipe in force, in single figures."""

    id: int
    at_utc: str
    summary: JsonTable


class PairHistory(WireValue):
    """A laser on a surface, with its recipe in force; each series runs from old to new."""

    head: HeadEntry | None
    surface: SurfaceEntry | None
    recipe: RecipeEntry | None
    beam_h_since_card: float
    runs: tuple[LateRun, ...]
    verdicts: tuple[LateVerdict, ...]
    readings: tuple[LateReading, ...]


class TimeLine(Question[TimeLinePage]):
    """Cards, readings, recipes, runs, verdicts and wiped lenses of a laser on a surface."""

    head: str
    surface: str
    before: str = ""
    limit: WholeNumber = MOST_ROWS


class History(Question[PairHistory]):
    """The figures that tell whether to test again."""

    head: str
    surface: str


TIME_LINE_CALLS: Final = (TimeLine, History)
