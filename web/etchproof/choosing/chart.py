"""The chart of a power card: darkness against dose, one line per power, as data to be drawn."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from typing import Final

import numpy as np

from etchproof.card import Card
from etchproof.choosing.choice import Outcome
from etchproof.choosing.judging import Cell
from etchproof.model.response import Response
from etchwire.catalogue.heads import dose_j_per_mm2

CURVE_POINTS: Final = 60
BEYOND: Final = 1.25  # how far the curves go on past the patches


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """A cell: its dose, its lightness, and whether it could be chosen."""

    cell: str
    dose_j_per_mm2: float
    lightness: float
    judgement: str


@dataclass(frozen=True, slots=True)
class ChartLine:
    """The points of one power, and the fitted curve through them as (dose, lightness)."""

    power_ratio: float
    points: tuple[ChartPoint, ...]
    curve: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Everything the page draws: lines by power, and the doses where darkening begins and ends.

    Threshold and saturation are those of the power chosen, or of the highest where none was.
    """

    lines: tuple[ChartLine, ...]
    chosen: str | None
    threshold_j_per_mm2: float | None
    saturation_j_per_mm2: float | None


def chart_of(card: Card, outcome: Outcome) -> Chart:
    """Return the chart of what `card` led to; without camera readings it has no lines."""
    powers = sorted({cell.power_ratio for cell in outcome.cells})
    response = outcome.response
    lines = tuple(_line(card, outcome.cells, power, response) for power in powers)
    power = outcome.choice.power_ratio if outcome.choice else powers[-1]
    power_w = card.head.rated_optical_w * power
    return Chart(
        lines=tuple(line for line in lines if line.points),
        chosen=outcome.choice.cell if outcome.choice else None,
        threshold_j_per_mm2=response.threshold_j_per_mm2(power_w) if response else None,
        saturation_j_per_mm2=response.saturation_j_per_mm2(power_w) if response else None,
    )


def strip_chart(card: Card, cells: Sequence[Cell], chosen: str | None) -> Chart:
    """Return the chart of a check strip: one line, through its patches."""
    line = _line(card, cells, card.recipe.power_ratio, None)
    by_dose: dict[float, list[float]] = {}
    for point in line.points:
        by_dose.setdefault(point.dose_j_per_mm2, []).append(point.lightness)
    path = sorted((dose, fmean(lightness)) for dose, lightness in by_dose.items())
    lines = (replace(line, curve=tuple(path)),) if path else ()
    return Chart(lines=lines, chosen=chosen, threshold_j_per_mm2=None, saturation_j_per_mm2=None)


def _line(
    card: Card, cells: Sequence[Cell], power_ratio: float, response: Response | None
) -> ChartLine:
    power_w = card.head.rated_optical_w * power_ratio

    def dose(feed: float) -> float:
        return dose_j_per_mm2(
            power_w=power_w, feed_mm_per_min=feed, line_spacing_mm=card.spacing_mm
        )

    points = tuple(
        ChartPoint(cell.name, dose(cell.feed_mm_per_min), cell.lightness, cell.judgement.value)
        for cell in cells
        if cell.power_ratio == power_ratio and cell.lightness is not None
    )
    return ChartLine(power_ratio, points, _curve(response, power_w, points, card.spacing_mm))


def _curve(
    response: Response | None, power_w: float, points: Sequence[ChartPoint], spacing_mm: float
) -> tuple[tuple[float, float], ...]:
    if response is None or not points:
        return ()
    doses = np.geomspace(
        min(point.dose_j_per_mm2 for point in points) / BEYOND,
        max(point.dose_j_per_mm2 for point in points) * BEYOND,
        CURVE_POINTS,
    )
    feeds = power_w * 60 / (doses * spacing_mm)
    curve = response.lightness(power_w, feeds)
    return tuple(zip(doses.tolist(), np.asarray(curve).tolist(), strict=True))
