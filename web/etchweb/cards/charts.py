"""Charts of test cards: darkness against burn strength, greys, and figures over time; geometry.

Lightness grows upwards, so what is darker lies lower.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from etchwire.transport.json_text import JsonTable

WIDTH: Final = 360.0
HEIGHT: Final = 190.0
LEFT: Final = 40.0
RIGHT: Final = 12.0
TOP: Final = 10.0
BOTTOM: Final = 26.0

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Mark:
    """A point to be drawn, and what it is called."""

    x: float
    y: float
    name: str
    is_chosen: bool = False


@dataclass(frozen=True, slots=True)
class ChartGeometry:
    """What a template draws: paths, points, and marks on both scales as (place, figure)."""

    lines: tuple[str, ...]
    points: tuple[Mark, ...]
    x_marks: tuple[tuple[float, float], ...]
    y_marks: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Scale:
    """From figures to places on the drawing."""

    low: float
    high: float
    from_px: float
    to_px: float
    is_log: bool = False

    def place(self, value: float) -> float:
        """Return where `value` lies."""
        low, high, value = (
            (math.log(self.low), math.log(self.high), math.log(value))
            if self.is_log
            else (self.low, self.high, value)
        )
        share = (value - low) / (high - low)
        return round(self.from_px + share * (self.to_px - self.from_px), 1)


def darkness_chart(chart: JsonTable) -> ChartGeometry | None:
    """Return lightness against dose, a line for each power; None where no camera looked."""
    lines = chart["lines"]
    points = [point for line in lines for point in line["points"]]
    if not points:
        return None
    places: list[Point] = [(p["dose_j_per_mm2"], p["lightness"]) for p in points]
    places += [tuple(place) for line in lines for place in line["curve"]]
    doses = [dose for dose, _ in places]
    x = Scale(min(doses), _above(min(doses), max(doses)), LEFT, WIDTH - RIGHT, is_log=True)
    y = _scale_to_100()
    return ChartGeometry(
        lines=tuple(_path(line["curve"], x, y) for line in lines if line["curve"]),
        points=tuple(
            Mark(
                x.place(p["dose_j_per_mm2"]),
                y.place(p["lightness"]),
                p["cell"],
                p["cell"] == chart["chosen"],
            )
            for p in points
        ),
        x_marks=tuple((x.place(dose), dose) for dose in _few_between(x.low, x.high)),
        y_marks=tuple((y.place(value), value) for value in (0.0, 50.0, 100.0)),
    )


def tone_chart(burnt: Sequence[float], effective: Sequence[float]) -> ChartGeometry:
    """Return what each share burnt looks like, beside what it would be without dots that spread."""
    x = Scale(0.0, 1.0, LEFT, WIDTH - RIGHT)
    y = Scale(0.0, 1.0, HEIGHT - BOTTOM, TOP)
    pairs = list(zip(burnt, effective, strict=True))
    shares = (0.0, 0.5, 1.0)
    return ChartGeometry(
        lines=(_path(pairs, x, y), _path([(0.0, 0.0), (1.0, 1.0)], x, y)),
        points=tuple(Mark(x.place(share), y.place(looks), "") for share, looks in pairs),
        x_marks=tuple((x.place(share), share) for share in shares),
        y_marks=tuple((y.place(share), share) for share in shares),
    )


def focus_chart(
    fitted: Sequence[Sequence[float]], seen: Sequence[Sequence[float]]
) -> ChartGeometry:
    """Return the spot across and along the rows against height: curves, and what lines showed.

    Both are (height, across, along), in mm.
    """
    heights = [height for height, *_ in fitted]
    widest = max(max(widths) for _, *widths in (*fitted, *seen))
    x = Scale(min(heights), _above(min(heights), max(heights)), LEFT, WIDTH - RIGHT)
    y = Scale(0.0, widest, HEIGHT - BOTTOM, TOP)
    middle = (x.low + x.high) / 2
    return ChartGeometry(
        lines=tuple(_path([(one[0], one[way]) for one in fitted], x, y) for way in (1, 2)),
        points=tuple(
            Mark(x.place(one[0]), y.place(one[way]), "") for one in seen for way in (1, 2)
        ),
        x_marks=tuple((x.place(value), value) for value in (x.low, middle, x.high)),
        y_marks=tuple((y.place(value), round(value, 3)) for value in (0.0, widest / 2, widest)),
    )


def spacing_chart(seen: Sequence[JsonTable], chosen_mm: float) -> ChartGeometry:
    """Return the lightness of the solid patches, then of the half-burnt ones, by line spacing."""
    spacings = [one["spacing_mm"] for one in seen]
    x = Scale(min(spacings), _above(min(spacings), max(spacings)), LEFT, WIDTH - RIGHT)
    y = _scale_to_100()
    solid = [(one["spacing_mm"], one["lightness"]) for one in seen]
    half = [
        (one["spacing_mm"], one["half_lightness"])
        for one in seen
        if one["half_lightness"] is not None
    ]
    return ChartGeometry(
        lines=tuple(_path(line, x, y) for line in (solid, half) if line),
        points=tuple(
            Mark(x.place(a), y.place(b), f"{a:g} mm", line is solid and a == chosen_mm)
            for line in (solid, half)
            for a, b in line
        ),
        x_marks=tuple((x.place(spacing), spacing) for spacing in spacings),
        y_marks=tuple((y.place(value), value) for value in (0.0, 50.0, 100.0)),
    )


def series_chart(values: Sequence[Point]) -> ChartGeometry | None:
    """Return figures of 0 to 100 by what they are counted by, as beam hours; None for one alone."""
    if len(values) < 2:
        return None
    firsts = [first for first, _ in values]
    x = Scale(min(firsts), _above(min(firsts), max(firsts)), LEFT, WIDTH - RIGHT)
    y = _scale_to_100()
    return ChartGeometry(
        lines=(_path(values, x, y),),
        points=tuple(Mark(x.place(a), y.place(b), "") for a, b in values),
        x_marks=tuple((x.place(value), value) for value in (x.low, x.high)),
        y_marks=tuple((y.place(value), value) for value in (0.0, 50.0, 100.0)),
    )


def _scale_to_100() -> Scale:
    return Scale(0.0, 100.0, HEIGHT - BOTTOM, TOP)


def _above(low: float, high: float) -> float:
    return high if high > low else low + 1.0


def _few_between(low: float, high: float) -> list[float]:
    """Return three doses, evenly spread on a logarithmic scale, two figures each."""
    return [float(f"{low * (high / low) ** share:.2g}") for share in (0.1, 0.5, 0.9)]


def _path(places: Sequence[Sequence[float]], x: Scale, y: Scale) -> str:
    return "M" + " ".join(f"{x.place(a)} {y.place(b)}" for a, b in places)
