"""Job sheets for tests: our own invention, small, and consistent in themselves."""

from etchwire.catalogue.heads import Head, Recipe, Register
from etchwire.sheet import Bounds, Photo, RowEntry, Sheet, TilePart

HEAD = Head(
    name="practice 20 W",
    rated_optical_w=20.0,
    spot_x_mm=0.08,
    spot_y_mm=0.1,
    is_spot_measured=True,
    max_s=1000.0,
    max_feed_mm_per_min=10_000.0,
    acceleration_mm_per_s2=1500.0,
    travel_x_mm=400.0,
    travel_y_mm=300.0,
    register=Register(beam_lag_s=0.0004, slack_mm=0.03, is_measured=True),
)
RECIPE = Recipe(
    surface="practice tile, white paint",
    feed_mm_per_min=4000.0,
    power_ratio=0.6,
    line_spacing_mm=0.1,
)
ROW_BYTES = 90
JIG_TABLE = {
    "name": "Signs", "columns": 3, "rows": 1, "pitch_x_mm": 65.0, "pitch_y_mm": 45.0,
    "width_mm": 61.0, "height_mm": 41.0, "lower_left_x_mm": 5.0, "lower_left_y_mm": 5.0,
    "upper_right_x_mm": 196.0, "upper_right_y_mm": 46.0, "exhaust": "left", "tile_mm": 8.0,
    "focus_depth_mm": 0.5,
}  # fmt: skip


def sheet_of(rows=20, **changes):
    """Return the sheet of a picture of `rows` rows, each one line of G-code."""
    picture = Bounds(left_mm=5.0, bottom_mm=0.0, right_mm=15.0, top_mm=rows * 0.1)
    index = tuple(
        RowEntry(
            row=row,
            line=4 + row,
            byte=20 + ROW_BYTES * row,
            y_mm=round((rows - row - 0.5) * 0.1, 3),
            from_mm=0.0,
            to_mm=20.0,
            at_s=0.4 * row,
        )
        for row in range(rows)
    )
    parts = {
        "title": "Lighthouse at dusk",
        "photo": Photo(name="lighthouse.jpg", sha256="cd" * 32, width_px=1200, height_px=900),
        "width_mm": 10.0,
        "height_mm": rows * 0.1,
        "rows": rows,
        "columns": 100,
        "head": HEAD,
        "recipe": RECIPE,
        "halftone": "stucki",
        "is_both_directions": True,
        "coverage": 0.4,
        "dose_j_per_mm2": RECIPE.dose_j_per_mm2(HEAD),
        "picture": picture,
        "motion": Bounds(left_mm=0.0, bottom_mm=0.0, right_mm=20.0, top_mm=rows * 0.1),
        "predicted_s": 0.4 * rows,
        "gcode_sha256": "ab" * 32,
        "gcode_bytes": 20 + ROW_BYTES * rows + 24,
        "gcode_lines": 3 + rows + 3,
        "end_line": 4 + rows,
        "index": index,
    }
    return Sheet(**(parts | changes))


def part_of(pocket, first_row, rows=10, **changes):
    """Return a tile of a run of several, with so many rows of the whole sheet."""
    parts = {"title": f"tile {pocket}", "columns": 100, "coverage": 0.4}
    place = sheet_of().picture
    return TilePart(**parts | changes, pocket=pocket, first_row=first_row, rows=rows, picture=place)
