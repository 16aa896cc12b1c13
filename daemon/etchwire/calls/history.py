"""What may be asked of the logbook about runs."""

from typing import Final, NamedTuple

from msgspec import field

from etchwire.calls.call import Question, WholeNumber
from etchwire.transport.json_text import JsonTable
from etchwire.wire_value import WireValue

MOST_ROWS: Final = 500  # of one answer


class RunSummary(WireValue):
    """A run in a list; `verdict` is the last that was given of all of it, None for none.

    `tile_verdicts` are the last of single tiles of a run of several, by their pockets.
    """

    id: int
    title: str
    gcode_sha256: str
    head: str
    surface: str
    rows: int
    recipe_feed_mm_per_min: float
    recipe_power_ratio: float
    recipe_line_spacing_mm: float
    started_at_utc: str
    is_clock_synchronised: bool | None
    ended: str | None
    because: str | None
    ended_at_utc: str | None
    elapsed_s: float | None
    etched_rows: int | None
    continues_run_id: int | None
    feed_run_mm_per_min: float | None
    power_run_ratio: float | None
    beam_s: float | None
    verdict: str | None
    tile_verdicts: JsonTable = field(default_factory=dict)


class LogbookNote(WireValue):
    """What the logbook says about itself."""

    at_utc: str
    text: str


class RunsPage(WireValue):
    """Runs, newest first; there are more before run `next_before`."""

    runs: tuple[RunSummary, ...]
    next_before: int | None
    notes: tuple[LogbookNote, ...]


class SlowestRow(WireValue):
    """The row that was run slowest."""

    row: int
    feed_mean_mm_per_min: float
    samples: int
    is_estimated: bool


class Comparison(WireValue):
    """What was run beside the recipe; `dose_ratio` is the dose run over the dose asked for."""

    feed_asked_mm_per_min: float
    power_asked_ratio: float
    measured_rows: int
    estimated_rows: int
    feed_mean_mm_per_min: float | None
    power_mean_ratio: float | None
    slow_rows_ratio: float | None
    dose_ratio: float | None
    slowest_row: SlowestRow | None


class RunTile(WireValue):
    """One tile of a run of several; its rows are those from `first_row` on.

    `ended` is None while it is etched, and `not begun` where the run ended before it. `verdict` is
    the last that was given of this tile, `lot` its painting lot.
    """

    pocket: int
    title: str
    first_row: int
    rows: int
    etched_rows: int
    item_id: int | None
    ended: str | None
    elapsed_s: float | None
    feed_run_mm_per_min: float | None
    power_run_ratio: float | None
    verdict: str | None
    lot: str | None = None


class Verdict(WireValue):
    """What the wiped tile looked like; of a run of several, that in one `pocket`."""

    id: int
    verdict: str
    cause: str
    note: str
    photo: str
    at_utc: str
    who: str
    pocket: int | None = None


class RunRecord(WireValue):
    """Everything about one run but its rows and events.

    `sheet` is the job sheet without its index, `notes` what was noted of box and controller, `lot`
    the painting lot of its tile, `tiles` those of a run of several.
    """

    id: int
    title: str
    gcode_sha256: str
    rows: int
    columns: int
    width_mm: float
    height_mm: float
    head: str
    head_rated_optical_w: float
    head_max_s: float
    head_max_feed_mm_per_min: float
    head_acceleration_mm_per_s2: float
    head_spot_x_mm: float
    head_spot_y_mm: float
    surface: str
    recipe_feed_mm_per_min: float
    recipe_power_ratio: float
    recipe_line_spacing_mm: float
    recipe_is_air_assist: bool
    dose_j_per_mm2: float
    predicted_s: float
    started_at_utc: str
    is_clock_synchronised: bool | None
    ended: str | None
    because: str | None
    ended_at_utc: str | None
    elapsed_s: float | None
    etched_rows: int | None
    continues_run_id: int | None
    beam_s: float | None
    feed_run_mm_per_min: float | None
    power_run_ratio: float | None
    continued_by_run_id: int | None
    lot: str | None
    notes: JsonTable
    sheet: JsonTable
    comparison: Comparison
    verdicts: tuple[Verdict, ...]
    tiles: tuple[RunTile, ...] = ()


class RunRow(NamedTuple):
    """What was run in one row; it travels as a list, `RunRowsPage.columns` being its names."""

    row: int
    samples: int
    is_estimated: bool
    feed_mean_mm_per_min: float | None
    feed_min_mm_per_min: float | None
    feed_max_mm_per_min: float | None
    power_mean_ratio: float | None
    power_min_ratio: float | None
    power_max_ratio: float | None
    at_s: float


class RunRowsPage(WireValue):
    """Rows from the top; there are more from `next_row` on."""

    columns: tuple[str, ...]
    rows: tuple[RunRow, ...]
    next_row: int | None


class RunEvent(WireValue):
    """Something that happened in a run; `details` are figures by their names."""

    id: int
    at_s: float
    at_utc: str
    kind: str
    text: str
    details: JsonTable


class RunEventsPage(WireValue):
    """Events in their order; there are more behind event `next_after`."""

    events: tuple[RunEvent, ...]
    next_after: int | None


class Runs(Question[RunsPage]):
    """Runs, newest first, older than run `before`; `next_before` asks for more.

    A search gives `head`, `surface`, days (`since`, `until`), `text` or the last `verdict`, which
    is `unrated` where none was given.
    """

    before: WholeNumber | None = None
    limit: WholeNumber = MOST_ROWS
    head: str = ""
    surface: str = ""
    since: str = ""
    until: str = ""
    text: str = ""
    verdict: str = ""


class Run(Question[RunRecord]):
    """One run: sheet, end, verdicts, and what was run beside the recipe."""

    id: WholeNumber


class RunRows(Question[RunRowsPage]):
    """What was run in each row, from `from_row`; `next_row` asks for more."""

    id: WholeNumber
    from_row: WholeNumber = 0
    limit: WholeNumber = MOST_ROWS


class RunEvents(Question[RunEventsPage]):
    """Holds, resumes, faults, from behind event `after`; `next_after` asks for more."""

    id: WholeNumber
    after: WholeNumber = 0
    limit: WholeNumber = MOST_ROWS


HISTORY_CALLS: Final = (Runs, Run, RunRows, RunEvents)
