"""The story of one laser on one tile and paint: what happened, in sentences, and in charts."""

from collections.abc import Sequence
from functools import singledispatch

from etchweb.cards.charts import series_chart
from etchweb.cards.presenter import TITLES
from etchweb.text.formatting import as_sentence, grouped, millimetres, percent
from etchweb.text.view import View
from etchwire.calls.catalogue import ReadingEntry
from etchwire.calls.time_line import (
    CardFiled,
    CardRead,
    LensWiped,
    RecipeSaved,
    RunMade,
    TileJudged,
    TimeLineEvent,
)
from etchwire.transport.json_text import JsonTable


@singledispatch
def event_words(event: TimeLineEvent) -> str:
    """Return an event of the time line as a sentence; of an unknown kind, that kind."""
    return as_sentence(event.kind)


@event_words.register
def _lens_words(_: LensWiped) -> str:
    return "Lens wiped."


@event_words.register
def _card_words(card: CardFiled) -> str:
    return f"Test card {card.id} made: {TITLES[card.card_kind].lower()}."


@event_words.register
def _run_words(run: RunMade) -> str:
    what = f"Test card {run.card_number}" if run.card_number else f"“{run.title}”"
    run_at = ""
    if run.feed_run_mm_per_min:
        run_at = (
            f", really run at {grouped(run.feed_run_mm_per_min)} mm/min of "
            f"{grouped(run.feed_asked_mm_per_min)}"
        )
    ended = {"complete": "etched", "stopped": "stopped", "failed": "failed", None: "being etched"}
    return f"{what} {ended[run.ended]} (etch {run.id}){run_at}."


@event_words.register
def _reading_words(reading: CardRead) -> str:
    return f"Test card {reading.card_number} {_read_words(reading)}"


def filed_words(reading: ReadingEntry) -> str:
    """Return what a reading in the logbook showed, as a sentence."""
    return as_sentence(_read_words(reading))


def reading_of(event: TimeLineEvent) -> int | None:
    """Return the reading of which an event tells, or from which its recipe comes."""
    if isinstance(event, CardRead):
        return event.id
    return event.reading_id if isinstance(event, RecipeSaved) else None


def _read_words(reading: CardRead | ReadingEntry) -> str:
    summary = reading.summary
    shown = _trial_words(summary)
    if summary.get("lightness_at_recipe") is not None:
        shown.append(f"lightness {summary['lightness_at_recipe']:.0f} at the recipe")
    if summary.get("feed_mm_per_min"):
        shown.append(
            f"recommended {grouped(summary['feed_mm_per_min'])} mm/min and "
            f"{percent(summary['power_ratio'])} %"
        )
    if summary.get("tvi_percent") is not None:
        shown.append(f"half burnt looks {summary['tvi_percent']:+.0f} points")
    if summary.get("beam_lag_s") is not None:
        shown.append(
            f"beam {summary['beam_lag_s'] * 1000:z.2f} ms late, slack {summary['slack_mm']:z.2f} mm"
        )
    if summary.get("best_focus_mm") is not None:
        where = f" at the {summary['bed_place']}" if summary.get("bed_place") else ""
        shown.append(f"in focus {summary['best_focus_mm']:.1f} mm up{where}")
    if summary.get("spot_y_mm") is not None:
        shown.append(f"spot {summary['spot_x_mm']:.2f} × {summary['spot_y_mm']:.2f} mm")
    if summary.get("coarsest_spacing_mm") is not None:
        shown.append(f"lines close up to {millimetres(summary['coarsest_spacing_mm'])} mm apart")
    way = {"camera": "by camera", "hand": "by hand", "both": "by camera and hand"}[reading.way]
    chosen = "" if reading.chosen else "; nothing was chosen"
    told = f": {', '.join(shown)}" if shown else ""
    return f"read {way}{told}{chosen}."


@event_words.register
def _recipe_words(recipe: RecipeSaved) -> str:
    greys = ", greys measured" if recipe.is_tone_measured else ""
    retired = " (no longer in force)" if recipe.retired_at_utc else ""
    return (
        f"Recipe: {grouped(recipe.feed_mm_per_min)} mm/min, {percent(recipe.power_ratio)} %, "
        f"lines {millimetres(recipe.line_spacing_mm)} mm apart{greys}{retired}."
    )


@event_words.register
def _verdict_words(verdict: TileJudged) -> str:
    cause = f", because of {verdict.cause}" if verdict.cause else ""
    note = f" {as_sentence(verdict.note)}" if verdict.note else ""
    return f"Etch {verdict.run_id} came out {verdict.verdict}{cause}.{note}"


def _trial_words(summary: JsonTable) -> list[str]:
    """Return what a durability trial showed; nothing of any other reading."""
    if "trial" not in summary:
        return []
    return [f"{summary['loss_l']:+.1f} L* after {summary['cycles']} cycles of {summary['trial']}"]


def charts_over_time(events: Sequence[TimeLineEvent]) -> list[View]:
    """Return the charts over beam hours: darkness at the recipe, and power recommended."""
    readings = [event for event in reversed(events) if isinstance(event, CardRead)]
    light = _series(readings, "lightness_at_recipe")
    power = [(hours, share * 100) for hours, share in _series(readings, "power_ratio")]
    charts = (
        ("Lightness at the recipe", series_chart(light)),
        ("Power recommended, in percent", series_chart(power)),
    )
    return [{"title": title, "chart": chart} for title, chart in charts if chart]


def _series(readings: Sequence[CardRead], name: str) -> list[tuple[float, float]]:
    return [
        (reading.beam_h, reading.summary[name])
        for reading in readings
        if reading.summary.get(name) is not None
    ]
