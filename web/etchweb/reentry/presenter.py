"""What the daemon knows of an etch that was cut short, turned into what the page says: pure."""

import re
from typing import Final

from etchweb.text.formatting import as_sentence, counted, grouped, millimetres, short_duration
from etchweb.text.page_states import HEADLINES
from etchweb.text.view import View
from etchwire.calls.machine import CutView, RestView, UnfinishedRun

_ROW: Final = re.compile(r"0{0,6}[1-9][0-9]{0,6}")
LOUPE_ROWS: Final = 36
LOUPE_COLUMNS: Final = 90


def reentry_view(outlook: UnfinishedRun, *, row: int | None, is_by_eye: bool) -> View:
    """Return what the page says; `row` is the first that is not dark, from 0, if a person told it.

    Without the job only the reason is said.
    """
    either = () if is_by_eye else outlook.either
    said: View = {
        "number": outlook.run,
        "may": outlook.may,
        "why_not": as_sentence(outlook.why_not or ""),
        "ended": HEADLINES.get(outlook.ended or "", ""),
        "because": as_sentence(outlook.because or ""),
        "title": outlook.title,
        "is_by_eye": is_by_eye or not (outlook.is_row_known or either),
        "either": [_choice(place, row) for place in either],
        "is_row_known": outlook.is_row_known,
        "is_by_line": outlook.gap_mm is not None,
        "gap": _gap_words(outlook.gap_mm),
        "is_place_kept": outlook.is_place_kept,
        "known": outlook.known,
        "unknown": outlook.unknown,
        "across": outlook.across,
        "next_tile": outlook.next_tile,
    }
    return said | _pictured(outlook, row)


def _gap_words(gap_mm: float | None) -> str:
    """Return what a person accepts who takes up another program's file; nothing for no gap."""
    return f"Up to {gap_mm:.1f} mm of the stroke that was cut stay unburnt." if gap_mm else ""


def _choice(place: CutView, row: int | None) -> View:
    """Return one of the rows in which the cut may be."""
    return {
        "row": place.row + 1,
        "words": (
            f"Row {place.row + 1}; it goes on {place.from_left_mm:.1f} mm from the left edge,"
            f" give or take {place.error_mm:.2f} mm"
        ),
        "is_chosen": place.row == row,
    }


def row_from_text(text: str) -> int | None:
    """Return the row that a person wrote, from 0, or None for what is no row of any picture.

    People count rows from one.
    """
    return int(text) - 1 if _ROW.fullmatch(text.strip()) else None


def _pictured(outlook: UnfinishedRun, row: int | None) -> View:
    """Return the picture with its line, and what is left below it; nothing without the job."""
    if (
        (rows := outlook.rows) is None
        or (first_row := outlook.first_row) is None
        or (spacing_mm := outlook.line_spacing_mm) is None
        or (width_mm := outlook.width_mm) is None
        or (height_mm := outlook.height_mm) is None
    ):
        return {}
    line = min(first_row if row is None else row, rows - 1)
    return {
        "rows": rows,
        "row": line + 1,
        "first_row": first_row + 1,
        "spacing_mm": spacing_mm,
        "below": f"{line * spacing_mm:.1f}",
        "recorded_mm": first_row * spacing_mm,
        "cut": outlook.cut,
        "picture": {
            "tile": outlook.picture_sha256,
            "title": outlook.title,
            "size": f"{millimetres(width_mm)} × {millimetres(height_mm)} mm",
            "width_mm": width_mm,
            "height_mm": height_mm,
            "rows": rows,
            "row": line,
            "etched_rows": line,
        },
        "loupe": {
            "width_mm": LOUPE_COLUMNS * spacing_mm,
            "height_mm": LOUPE_ROWS * spacing_mm,
            "left_mm": (width_mm - LOUPE_COLUMNS * spacing_mm) / 2,
            "top_mm": (line - LOUPE_ROWS / 2) * spacing_mm,
            "line_mm": line * spacing_mm,
        },
        "rest": _rest(outlook.rest),
    }


def _rest(rest: RestView | None) -> View | None:
    if rest is None:
        return None
    return {
        "from_row": grouped(rest.first_row + 1),
        "rows": counted(rest.rows, "row", "rows"),
        "size": f"{millimetres(rest.width_mm)} × {rest.height_mm:.1f} mm",
        "time": short_duration(rest.predicted_s),
    }
