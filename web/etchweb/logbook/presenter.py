"""A run from the logbook, turned into what the page says about it: pure."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from etchweb.logbook.chart import Chart, RowStatistics, bands, chart
from etchweb.logbook.verdict_presenter import verdict_lines, verdict_words
from etchweb.text.formatting import (
    as_sentence,
    counted,
    grouped,
    millimetres,
    percent,
    short_duration,
)
from etchweb.text.page_states import HEADLINES
from etchwire.sheet import tidied_words

STILL_GOING: Final = "Under way"

View = dict[str, Any]


def line_view(run: Mapping[str, Any]) -> View:
    """Return what the list of etches says about one of them."""
    etched = run["etched_rows"]
    return {
        "id": run["id"],
        "tile": run["gcode_sha256"],
        "title": run["title"],
        "ended": HEADLINES[run["ended"]] if run["ended"] else STILL_GOING,
        "verdict": verdict_words(run["verdict"]) if "verdict" in run else "",
        "started_at": run["started_at_utc"],
        "is_clock_sure": run["is_clock_synchronised"] is not False,
        "rows": f"{grouped(etched or 0)} of {counted(run['rows'], 'row', 'rows')}",
        "took": "" if run["elapsed_s"] is None else short_duration(run["elapsed_s"]),
        "surface": f"{run['head']}, on {run['surface']}",
        "recipe": (
            f"{grouped(run['recipe_feed_mm_per_min'])} mm/min, "
            f"{percent(run['recipe_power_ratio'])} %, "
            f"{millimetres(run['recipe_line_spacing_mm'])} mm"
        ),
    }


def etch_view(record: Mapping[str, Any]) -> View:
    """Return what the page of one etch says; `record` is that of `etchwire.record`."""
    rows, sheet = record["rows"], record["sheet"]
    return {
        **line_view(record),
        "because": as_sentence(record["because"] or ""),
        "picture": {
            "tile": record["gcode_sha256"],
            "title": record["title"],
            "size": f"{millimetres(record['width_mm'])} × {millimetres(record['height_mm'])} mm",
            "width_mm": record["width_mm"],
            "height_mm": record["height_mm"],
            "rows": rows,
            "row": -1,
            "etched_rows": record["etched_rows"] or 0,
        },
        "facts": _facts(record, sheet),
        "is_over": record["ended"] is not None,
        "verdicts": verdict_lines(record["verdicts"]),
        "speed": _quantity(record, "feed", "mm_per_min", "recipe_feed_mm_per_min"),
        "power": _quantity(record, "power", "ratio", "recipe_power_ratio"),
        "events": event_lines(record["events"]),
        "measured_words": _measured_words(record),
    }


def event_lines(events: Sequence[Mapping[str, Any]]) -> list[dict[str, str]]:
    """Return what happened in a run as the page tells it, in its order.

    A trip and the end it leads to have one sentence, which is said once.
    """
    lines = [
        {"at": short_duration(event["at_s"]), "text": as_sentence(event["text"])}
        for event in events
    ]
    return [line for line, before in zip(lines, [None, *lines], strict=False) if line != before]


def measured(actuals: Sequence[Mapping[str, Any]], quantity: str, unit: str) -> list[RowStatistics]:
    """Return the rows in which `quantity` was measured, in their order."""
    return [
        RowStatistics(
            row["row"],
            row["samples"],
            row[f"{quantity}_mean_{unit}"],
            row[f"{quantity}_min_{unit}"],
            row[f"{quantity}_max_{unit}"],
        )
        for row in actuals
        if row[f"{quantity}_mean_{unit}"] is not None
    ]


def _facts(record: Mapping[str, Any], sheet: Mapping[str, Any]) -> list[tuple[str, str]]:
    tidied = (sheet.get("original") or {}).get("tidied_lines")
    return [
        ("Recipe", f"{line_view(record)['recipe']} apart"),
        ("Laser", f"{record['head']}, {record['head_rated_optical_w']:g} W of light"),
        ("Tile and paint", record["surface"]),
        ("Size", f"{millimetres(record['width_mm'])} × {millimetres(record['height_mm'])} mm"),
        ("Burn strength", f"{record['dose_j_per_mm2']:.2f} J/mm²"),
        ("Dots", f"{sheet['halftone']}, {percent(sheet['coverage'])} % of the area burnt"),
        ("Directions", "both" if sheet["is_both_directions"] else "one"),
        ("Foreseen", short_duration(record["predicted_s"])),
        *([("Tidied", tidied_words(tidied))] if tidied else []),
    ]


def _quantity(
    record: Mapping[str, Any], quantity: str, unit: str, asked: str
) -> tuple[Chart, list[tuple[int, int, RowStatistics]]] | None:
    rows = measured(record["row_actuals"], quantity, unit)
    if not rows:
        return None
    return chart(rows, rows=record["rows"], asked=record[asked]), bands(rows, record["rows"])


def _measured_words(record: Mapping[str, Any]) -> str:
    comparison = record["comparison"]
    mean, asked = comparison["feed_mean_mm_per_min"], comparison["feed_asked_mm_per_min"]
    if mean is None:
        return "Nothing was measured while the beam was on."
    slow = comparison["slow_rows_ratio"] or 0
    return (
        f"While the beam was on: {grouped(mean)} mm/min on average; the recipe asks for "
        f"{grouped(asked)}. "
        + (
            f"{percent(slow)} % of the rows ran more than a twentieth slower."
            if slow >= 0.005
            else "Hardly any row ran slower."
        )
    )
