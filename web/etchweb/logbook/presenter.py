"""A run from the logbook, turned into what the page says about it: pure."""

from collections.abc import Sequence
from typing import Final

from etchweb.logbook.chart import Chart, RowStatistics, bands, chart
from etchweb.logbook.etch_record import EtchRecord
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
from etchweb.text.view import View
from etchwire.calls.history import Comparison, RunEvent, RunRecord, RunRow, RunSummary, RunTile
from etchwire.catalogue.halftones import halftone_name
from etchwire.sheet import tidied_words

STILL_GOING: Final = "Under way"


def line_view(run: RunSummary | RunRecord) -> View:
    """Return what the list of etches says about one of them."""
    etched = run.etched_rows
    return {
        "id": run.id,
        "tile": run.gcode_sha256,
        "title": run.title,
        "ended": HEADLINES[run.ended] if run.ended else STILL_GOING,
        "verdict": _verdicts_of(run) if isinstance(run, RunSummary) else "",
        "started_at": run.started_at_utc,
        "is_clock_sure": run.is_clock_synchronised is not False,
        "rows": f"{grouped(etched or 0)} of {counted(run.rows, 'row', 'rows')}",
        "took": "" if run.elapsed_s is None else short_duration(run.elapsed_s),
        "surface": f"{run.head}, on {run.surface}",
        "recipe": (
            f"{grouped(run.recipe_feed_mm_per_min)} mm/min, "
            f"{percent(run.recipe_power_ratio)} %, "
            f"{millimetres(run.recipe_line_spacing_mm)} mm"
        ),
    }


def _verdicts_of(run: RunSummary) -> str:
    """Return what was said last of a run, and of each of its tiles by their pockets."""
    pockets: dict[str, list[str]] = {}
    for pocket, verdict in sorted(run.tile_verdicts.items(), key=lambda said: int(said[0])):
        pockets.setdefault(verdict, []).append(pocket)
    of_tiles = [
        f"{verdict_words(verdict)} in pocket {', '.join(numbers)}"
        for verdict, numbers in pockets.items()
    ]
    return "; ".join(filter(None, [verdict_words(run.verdict), *of_tiles]))


def etch_view(record: EtchRecord) -> View:
    """Return what the page of one etch says."""
    run = record.run
    rows = run.rows
    return {
        **line_view(run),
        "because": as_sentence(run.because or ""),
        "picture": {
            "tile": run.gcode_sha256,
            "title": run.title,
            "size": f"{millimetres(run.width_mm)} × {millimetres(run.height_mm)} mm",
            "width_mm": run.width_mm,
            "height_mm": run.height_mm,
            "rows": rows,
            "row": -1,
            "etched_rows": run.etched_rows or 0,
        },
        "facts": _facts(run),
        "tiles": [_tile_view(tile) for tile in run.tiles],
        "is_over": run.ended is not None,
        "verdicts": verdict_lines(run.verdicts),
        "speed": _charted(feed_rows(record.rows), rows, run.recipe_feed_mm_per_min),
        "power": _charted(power_rows(record.rows), rows, run.recipe_power_ratio),
        "events": event_lines(record.events),
        "measured_words": _measured_words(run.comparison),
    }


def _tile_view(tile: RunTile) -> View:
    """Return what is said of one tile of a run of several."""
    rows = f"{grouped(tile.etched_rows)} of {counted(tile.rows, 'row', 'rows')}"
    took = "" if tile.elapsed_s is None else f" in {short_duration(tile.elapsed_s)}"
    feed = tile.feed_run_mm_per_min
    speed = "" if feed is None else f", {grouped(feed)} mm/min on average"
    ended = HEADLINES.get(tile.ended, tile.ended.capitalize()) if tile.ended else STILL_GOING
    words = [f"{ended}, {rows}{took}{speed}."]
    if tile.lot:
        words.append(f"Painting lot {tile.lot}.")
    if tile.verdict is not None:
        words.append(f"{verdict_words(tile.verdict)}.")
    return {"pocket": tile.pocket, "title": tile.title, "words": " ".join(words)}


def event_lines(events: Sequence[RunEvent]) -> list[dict[str, str]]:
    """Return what happened in a run as the page tells it, in its order.

    A trip and the end it leads to have one sentence, which is said once.
    """
    lines = [
        {"at": short_duration(event.at_s), "text": as_sentence(event.text)} for event in events
    ]
    return [line for line, before in zip(lines, [None, *lines], strict=False) if line != before]


def feed_rows(rows: Sequence[RunRow]) -> list[RowStatistics]:
    """Return the rows in which the speed was measured, in mm/min, in their order."""
    return [
        RowStatistics(row.row, row.samples, mean, least, most)
        for row in rows
        if (mean := row.feed_mean_mm_per_min) is not None
        and (least := row.feed_min_mm_per_min) is not None
        and (most := row.feed_max_mm_per_min) is not None
    ]


def power_rows(rows: Sequence[RunRow]) -> list[RowStatistics]:
    """Return the rows in which the power was measured, as a ratio, in their order."""
    return [
        RowStatistics(row.row, row.samples, mean, least, most)
        for row in rows
        if (mean := row.power_mean_ratio) is not None
        and (least := row.power_min_ratio) is not None
        and (most := row.power_max_ratio) is not None
    ]


def _facts(run: RunRecord) -> list[tuple[str, str]]:
    sheet = run.sheet
    tidied = (sheet.get("original") or {}).get("tidied_lines")
    return [
        ("Recipe", f"{line_view(run)['recipe']} apart"),
        ("Laser", f"{run.head}, {run.head_rated_optical_w:g} W of light"),
        ("Tile and paint", run.surface),
        *([("Painting lot", run.lot)] if run.lot else []),
        _size(run),
        ("Burn strength", f"{run.dose_j_per_mm2:.2f} J/mm²"),
        (
            "Dots",
            f"{halftone_name(sheet['halftone'])}, {percent(sheet['coverage'])} % of the area burnt",
        ),
        ("Directions", "both" if sheet["is_both_directions"] else "one"),
        ("Estimated", short_duration(run.predicted_s)),
        *([("Tidied", tidied_words(tidied))] if tidied else []),
    ]


def _size(run: RunRecord) -> tuple[str, str]:
    tiles = len(run.sheet.get("parts", ()))
    if tiles:
        return "Tiles", f"{tiles} in one run"
    return "Size", f"{millimetres(run.width_mm)} × {millimetres(run.height_mm)} mm"


def _charted(
    measured: Sequence[RowStatistics], rows: int, asked: float
) -> tuple[Chart, list[tuple[int, int, RowStatistics]]] | None:
    if not measured:
        return None
    return chart(measured, rows=rows, asked=asked), bands(measured, rows)


def _measured_words(comparison: Comparison) -> str:
    mean, asked = comparison.feed_mean_mm_per_min, comparison.feed_asked_mm_per_min
    if mean is None:
        return "Nothing was measured while the beam was on."
    slow = comparison.slow_rows_ratio or 0
    return (
        f"While the beam was on: {grouped(mean)} mm/min on average; the recipe asks for "
        f"{grouped(asked)}. "
        + (
            f"{percent(slow)} % of the rows ran more than 5 % slower."
            if slow >= 0.005
            else "Hardly any row ran slower."
        )
    )
