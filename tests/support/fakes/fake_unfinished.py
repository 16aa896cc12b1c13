"""What a daemon answers of an etch that was cut short: for page tests, our own invention."""

from typing import Any, Final

from etchwire.errors import Refused

BAND: Final = (
    "The laser has cooled meanwhile: a faint band may show where it goes on. Nobody can promise a"
    " seam that cannot be seen."
)
ACROSS: Final = (
    "It fits as well as the origin is set, along the rows and across them; across them expect"
    " 0.05 mm at best, and a line may show."
)
LOST: Final = f"The head's place is lost until the origin is set again. {ACROSS}"
AFTER_THAT: Final = (
    "What came after that was not written down: some more may be dark, and where along its row the"
    " beam went out is not known. Look at the tile."
)
LEFT: Final = {
    "run": 6,
    "title": "Lighthouse at dusk",
    "picture_sha256": "ab" * 32,
    "rows": 1000,
    "first_row": 412,
    "is_place_kept": False,
    "sentence": "Etch 6 came as far as row 412 of 1000.",
}
BY_EYE: Final = {
    "run": 6,
    "may": True,
    "why_not": None,
    "ended": "failed",
    "because": "Power was lost or the control program was ended near row 412.",
    "title": "Lighthouse at dusk",
    "picture_sha256": "ab" * 32,
    "is_place_kept": False,
    "continued_by": None,
    "rows": 1000,
    "columns": 1000,
    "width_mm": 100.0,
    "height_mm": 100.0,
    "line_spacing_mm": 0.1,
    "cut": None,
    "either": [],
    "gap_mm": None,
    "first_row": 412,
    "is_row_known": False,
    "known": ["Row 412 is the last that was written down as done."],
    "unknown": [AFTER_THAT, LOST, BAND],
    "across": ACROSS,
}
BY_CUT: Final = BY_EYE | {
    "ended": "stopped",
    "because": "The lid is open.",
    "is_place_kept": True,
    "cut": {"row": 412, "x_mm": 38.2, "from_left_mm": 33.2, "error_mm": 0.12, "is_whole": False},
    "is_row_known": True,
    "known": [
        "The beam went out in row 413, 33.2 mm from the picture's left edge, give or take 0.12 mm."
        " It goes on there.",
        "The head has kept its place. Across the rows nothing has moved.",
    ],
    "unknown": [BAND],
}
BY_TWO_ROWS: Final = BY_CUT | {
    "cut": None,
    "either": [
        {"row": 412, "x_mm": 103.1, "from_left_mm": 98.1, "error_mm": 0.9, "is_whole": False},
        {"row": 413, "x_mm": 104.3, "from_left_mm": 99.3, "error_mm": 0.4, "is_whole": False},
    ],
    "is_row_known": False,
    "known": [
        "The beam went out in row 413, 98.1 mm from the picture's left edge, give or take 0.90 mm,"
        " or in row 414, 99.3 mm from the picture's left edge, give or take 0.40 mm.",
    ],
    "unknown": ["In which of the two rows is not known: the head was about to turn.", BAND],
}
BY_LINE: Final = BY_CUT | {
    "title": "hinge",
    "cut": None,
    "gap_mm": 3.42,
    "known": [
        "It goes on with line 52, which is made with the beam off.",
        "Up to 3.4 mm of the stroke that was cut stay unburnt before it.",
        "The head has kept its place.",
    ],
    "across": "",
}
OF_A_BENCH: Final = BY_CUT | {
    "next_tile": {"left_out": 3, "row": 500, "pocket": 5, "title": "Zoe"},
}
NOT_KEPT: Final = BY_EYE | {
    "may": False,
    "why_not": "The job of that etch is no longer kept here; it can only be etched anew.",
    "known": [],
    "unknown": [],
    **dict.fromkeys(("rows", "columns", "width_mm", "height_mm", "line_spacing_mm", "first_row")),
}


def answer_unfinished(told: Any = BY_EYE) -> Any:
    """Return what answers `unfinished`, with the figures of the row that is asked for."""

    def answer(*, run: int, row: int | None = None) -> dict[str, Any]:
        if run not in (6, 7):
            raise Refused("refused", f"There is no run {run} in the logbook.")
        first = told["first_row"] if row is None else row
        if told["rows"] is None or first >= told["rows"]:
            return {**told, "run": run, "rest": None}
        rows = told["rows"] - first
        rest = {"first_row": first, "rows": rows, "width_mm": 100.0, "height_mm": rows * 0.1,
                "predicted_s": rows * 2.46}  # fmt: skip
        return {**told, "run": run, "rest": rest}

    return answer
