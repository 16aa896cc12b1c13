"""A chart of what was really run, row by row, beside what the recipe asks: pure geometry.

Rows run from left (the top of the tile, etched first) to right. Rows in which nothing was
measured, because they hold no dots, leave gaps.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

WIDTH: Final = 360.0
HEIGHT: Final = 150.0
LEFT: Final = 46.0  # room for the figures of the scale
TOP: Final = 8.0
BOTTOM: Final = 20.0  # room for the rows' numbers
MOST_COLUMNS: Final = 160
BANDS: Final = 10
_HEADROOM: Final = 1.08


@dataclass(frozen=True, slots=True)
class RowStatistics:
    """What was measured in one row: its mean weighs as many samples as it has."""

    row: int
    samples: int
    mean: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Chart:
    """What a template draws: two SVG paths, a line for the recipe, and marks on the scales."""

    band: str
    line: str
    asked_y: float
    marks: tuple[tuple[float, float], ...]  # (y, value)
    last_row: int


def chart(measured: Sequence[RowStatistics], *, rows: int, asked: float) -> Chart:
    """Return the chart of `measured` rows out of `rows`."""
    most = max([asked, *(row.most for row in measured)]) * _HEADROOM
    runs = list(_unbroken(_columns(measured, rows)))
    return Chart(
        band=" ".join(_band(run, rows, most) for run in runs),
        line=" ".join(_line(run, rows, most) for run in runs),
        asked_y=_y(asked, most),
        marks=tuple((_y(value, most), value) for value in (0.0, asked / 2, asked)),
        last_row=rows,
    )


def bands(measured: Sequence[RowStatistics], rows: int) -> list[tuple[int, int, RowStatistics]]:
    """Return a tenth of the picture each: first and last row, and what was measured in them."""
    per_band = max(1, -(-rows // BANDS))
    grouped = groupby(measured, key=lambda row: row.row // per_band)
    return [
        (number * per_band, min(rows, (number + 1) * per_band) - 1, _together(list(group)))
        for number, group in grouped
    ]


def _columns(measured: Sequence[RowStatistics], rows: int) -> list[tuple[int, RowStatistics]]:
    per_column = max(1, -(-rows // MOST_COLUMNS))
    grouped = groupby(measured, key=lambda row: row.row // per_column)
    return [(number, _together(list(group))) for number, group in grouped]


def _together(rows: Sequence[RowStatistics]) -> RowStatistics:
    samples = sum(row.samples for row in rows)
    weight = samples or len(rows)
    mean = sum(row.mean * (row.samples if samples else 1) for row in rows) / weight
    return RowStatistics(
        round(sum(row.row for row in rows) / len(rows)),
        samples,
        mean,
        min(row.least for row in rows),
        max(row.most for row in rows),
    )


def _unbroken(columns: Sequence[tuple[int, RowStatistics]]) -> Iterator[list[RowStatistics]]:
    for _, run in groupby(enumerate(columns), key=lambda item: item[1][0] - item[0]):
        yield [measured for _, (_, measured) in run]


def _band(run: Sequence[RowStatistics], rows: int, most: float) -> str:
    over = [_point(row.row, row.most, rows, most) for row in run]
    under = [_point(row.row, row.least, rows, most) for row in reversed(run)]
    return f"M{' '.join(over + under)}Z"


def _line(run: Sequence[RowStatistics], rows: int, most: float) -> str:
    points = [_point(row.row, row.mean, rows, most) for row in run]
    return f"M{' '.join(points if len(points) > 1 else points * 2)}"


def _point(row: int, value: float, rows: int, most: float) -> str:
    return f"{LEFT + (WIDTH - LEFT) * (row + 0.5) / rows:.1f} {_y(value, most):.1f}"


def _y(value: float, most: float) -> float:
    return round(HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * value / most, 1)
