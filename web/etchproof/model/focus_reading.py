"""From a focus card to the beam: at which height it is narrowest, and how wide it is there.

Along its axis a beam's width is a hyperbola, sigma² = least² (1 + (z / reach)²), each way across
with a waist of its own (ISO 11146-1, which measures widths as four standard deviations; A. E.
Siegman, for beams of any M²; both from memory). Its figures are fitted to how dark the lines of
all stations and speeds are, together with the surface's threshold (`line_darkness`).

What is called the spot here is the width at half of the peak, 2.355 sigma: rows so far apart add
up to a dose that is even within 6 %, so closer ones add no detail.
"""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.light import lightness
from etchproof.card import COLUMN_LINES, FOCUS, ROW_LINES, SOLID, Card, Wedge
from etchproof.errors import NoFocus
from etchproof.layout.drawing import pitch_dots
from etchproof.layout.focus_card import WEAKER, recipe_at_dose
from etchproof.model.damped_steps import jacobian, least_squares
from etchproof.model.line_darkness import (
    column_line_dose,
    column_line_slope,
    mean_darkness,
    mean_darkness_slopes,
    row_line_dose,
    row_line_slope,
)
from etchproof.reading.values import Reading
from etchwire.catalogue.heads import SECONDS_PER_MINUTE

Floats = NDArray[np.floating[Any]]

HALF_HEIGHT: Final = 2.3548  # standard deviations from half of the peak to half of it
ISO_WIDTH: Final = 4.0  # standard deviations: ISO 11146-1
FACTOR_IN_FOCUS: Final = 1.1  # of the least width: our choice
NINE_IN_TEN: Final = 1.645  # standard deviations each way

LEAST_STATIONS: Final = 5
LEAST_DARKNESS: Final = 0.03  # of a patch: less is noise
LEAST_CHANGE: Final = 0.15  # of the width over the card: less shows no focus
MOST_DARKNESS: Final = 0.9  # lines have closed
MOST_SCATTER: Final = 0.04  # of darkness: the lines do not go with one beam on one surface
LEAST_CONTRAST: Final = 0.2
LEAST_NOISE: Final = 0.012  # of darkness: by less no surface follows our law (by simulation)
OUTLIER: Final = 0.03  # of darkness: beyond it a miss counts less, as where glaze breaks up
LEAST_DOUBT_MM: Final = 0.05  # of a height that a person packed up
LEAST_SPOT_DOUBT: Final = 0.08  # of the width: surfaces have other laws than ours (by simulation)
DARKER_L: Final = 3.0  # by less, side by side, patches look the same (our choice)
TOO_FAR_PATCHES: Final = 2  # of lines that are paler than the faster ones beside them
MOST_SPOT_DOUBT: Final = 0.35  # of the width: beyond it none is told (our choice)

# What is usual where lines say little, as logarithms, with how far off it may well be.
_USUAL_SPREAD: Final = (np.log(0.25), 1.0)
_LIKE_THRESHOLDS: Final = 0.3  # of row lines and column lines: the same surface
_LIKE_SOLID: Final = 0.05  # of the solid patches' darkness: lines may get a little darker
_TRIED_SIGMAS_MM: Final = (0.01, 0.4)
_STARTS: Final = (0.2, 0.5, 0.8)  # of the heights, from the lowest to the highest
_Y, _X = slice(0, 3), slice(3, 6)  # middle of the waist, logarithms of its sigma and reach


@dataclass(frozen=True, slots=True, kw_only=True)
class Waist:
    """The narrowest place of the beam, seen one way; `spot_mm` is its width at half height.

    `doubt` figures hold nine truths in ten.
    """

    height_mm: float
    doubt_mm: float
    spot_mm: float
    spot_doubt_mm: float
    reach_mm: float

    @property
    def iso_width_mm(self) -> float:
        """The width as ISO 11146-1 measures it."""
        return self.spot_mm / HALF_HEIGHT * ISO_WIDTH

    def relative_width(self, height_mm: Floats) -> Floats:
        """Return how many times the least width the beam has at these heights."""
        width: Floats = np.hypot(1.0, (height_mm - self.height_mm) / self.reach_mm)
        return width


@dataclass(frozen=True, slots=True, kw_only=True)
class BurntTooFar:
    """A card that is paler where it got more dose, and what to burn the next one with."""

    feed_mm_per_min: float
    power_ratio: float

    @property
    def sentence(self) -> str:
        """What it means, for a person."""
        return (
            "This card was burnt too far: where it got most dose it is paler than where it got "
            "less, and lines so broad tell the width of the spot badly. Burn another focus card "
            f"with half the dose, {self.feed_mm_per_min:.0f} mm/min at {self.power_ratio * 100:.3g}"
            " % power."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusReading:
    """What a focus card showed; heights are those of the tile's underside, as packed up.

    Between `low_mm` and `high_mm` the spot is no more than FACTOR_IN_FOCUS times as wide as at its
    best. `fitted` and `seen` are (height, spot across, spot along) for a chart: the hyperbolas, and
    what the lines of each station alone say.
    """

    best_mm: float
    doubt_mm: float
    low_mm: float
    high_mm: float
    along: Waist
    across: Waist
    stations: int
    bed_place: str = ""
    burnt_too_far: BurntTooFar | None = None
    fitted: tuple[tuple[float, float, float], ...] = ()
    seen: tuple[tuple[float, float, float], ...] = ()

    @property
    def is_spot_sure(self) -> bool:
        """Whether the widths are known well enough to be told."""
        return self.burnt_too_far is None and all(
            waist.spot_doubt_mm <= MOST_SPOT_DOUBT * waist.spot_mm
            for waist in (self.along, self.across)
        )

    @property
    def times_as_wide(self) -> float:
        """How many times its least width the spot has where the card shows it widest."""
        widths = [math.sqrt(across * along) for _, across, along in self.fitted]
        return max(widths) / min(widths)


@dataclass(frozen=True, slots=True)
class _Lines:
    """Patches of one kind: at which of the heights, with how much dose, how dark."""

    heights_mm: Floats
    station: NDArray[np.intp]
    energy: Floats  # J/mm of row lines, J/mm² of column lines
    darkness: Floats

    @classmethod
    def of(cls, patches: Sequence[tuple[float, float, float]]) -> "_Lines":
        """Return those of (height, energy, darkness)."""
        heights, energy, darkness = np.array(patches).T
        stations, station = np.unique(heights, return_inverse=True)
        return cls(stations, station, energy, darkness)

    def dark(self, dose: Floats, log_threshold: float, log_spread: float) -> Floats:
        """Return how dark these patches should be, with the dose of one joule at each height."""
        return mean_darkness(self.energy[:, None] * dose[self.station], log_threshold, log_spread)

    def slopes(
        self,
        waist: Floats,
        dose: Floats,
        dose_slope: Floats,
        log_threshold: float,
        log_spread: float,
    ) -> tuple[Floats, Floats, Floats]:
        """Return the slopes of `dark` by the waist, (patches, 3), and by each logarithm."""
        energy = self.energy[:, None]
        by_threshold, by_spread, by_dose = mean_darkness_slopes(
            energy * dose[self.station], log_threshold, log_spread
        )
        by_sigma = (by_dose * energy * dose_slope[self.station]).sum(axis=1)
        by_waist = by_sigma[:, None] * _sigma_slopes(waist, self.heights_mm)[self.station]
        return by_waist, by_threshold, by_spread


@dataclass(frozen=True, slots=True)
class _Seen:
    """All lines of a card, darkness 1 being that of its solid patches.

    The fit's figures are those of `_Y` and `_X`, and as logarithms the thresholds of lines along
    and across the rows, how far thresholds spread, and how dark lines can get.
    """

    rows: _Lines
    columns: _Lines
    pitch_mm: float
    dot_mm: float

    def misses(self, figures: Floats) -> Floats:
        """Return by how much each patch and each usual figure is missed, in standard scatters."""
        rows, columns = self.darkness_of(figures)
        off = np.concatenate([rows - self.rows.darkness, columns - self.columns.darkness])
        off = off / np.sqrt(1 + (off / OUTLIER) ** 2) / LEAST_NOISE
        usual, doubt = _USUAL_SPREAD
        loosely = [(figures[8] - usual) / doubt, (figures[6] - figures[7]) / _LIKE_THRESHOLDS]
        loosely.append(figures[9] / _LIKE_SOLID)
        return np.concatenate([off, loosely])

    def slopes(self, figures: Floats) -> Floats:
        """Return the slopes of `misses` by each figure, shape (misses, figures)."""
        rows, columns = self.rows, self.columns
        row_sigma = _sigma(figures[_Y], rows.heights_mm)
        column_sigma = _sigma(figures[_X], columns.heights_mm)
        row_dose, column_dose = doses = self._doses(row_sigma, column_sigma)
        of_rows = rows.slopes(
            figures[_Y],
            row_dose,
            row_line_slope(row_sigma, self.pitch_mm),
            figures[6],
            figures[8],
        )
        of_columns = columns.slopes(
            figures[_X],
            column_dose,
            column_line_slope(column_sigma, self.pitch_mm, self.dot_mm),
            figures[7],
            figures[8],
        )
        by_figure = np.zeros((len(rows.darkness) + len(columns.darkness), len(figures)))
        burnt_rows, burnt_columns = np.split(by_figure, [len(rows.darkness)])  # views
        for part, waist, threshold, (by_waist, by_threshold, by_spread) in (
            (burnt_rows, _Y, 6, of_rows),
            (burnt_columns, _X, 7, of_columns),
        ):
            part[:, waist], part[:, threshold], part[:, 8] = by_waist, by_threshold, by_spread
        by_figure *= np.exp(figures[9])
        dark = np.concatenate(self._dark(figures, doses))
        by_figure[:, 9] = dark
        off = dark - np.concatenate([rows.darkness, columns.darkness])
        by_figure *= ((1 + (off / OUTLIER) ** 2) ** -1.5 / LEAST_NOISE)[:, None]
        loosely = np.zeros((3, len(figures)))
        loosely[0, 8] = 1 / _USUAL_SPREAD[1]
        loosely[1, 6:8] = 1 / _LIKE_THRESHOLDS, -1 / _LIKE_THRESHOLDS
        loosely[2, 9] = 1 / _LIKE_SOLID
        return np.concatenate([by_figure, loosely])

    def scatter(self, figures: Floats) -> float:
        """Return the usual difference from what was read, as a sigma of darkness."""
        rows, columns = self.darkness_of(figures)
        off = np.concatenate([rows - self.rows.darkness, columns - self.columns.darkness])
        return 1.4826 * float(np.median(np.abs(off)))

    def spots_alone(self, figures: Floats) -> tuple[list[float], list[float]]:
        """Return the spots across and along the rows that explain each station by itself."""
        sigmas = np.geomspace(_TRIED_SIGMAS_MM[0], _TRIED_SIGMAS_MM[1], 160)
        row_dose = row_line_dose(sigmas, self.pitch_mm)
        column_dose = column_line_dose(sigmas, self.pitch_mm, self.dot_mm)
        spots = []
        for lines, dose, threshold in (
            (self.rows, row_dose, figures[6]),
            (self.columns, column_dose, figures[7]),
        ):
            missed = np.zeros((len(lines.heights_mm), len(sigmas)))
            for station, energy, darkness in zip(
                lines.station, lines.energy, lines.darkness, strict=True
            ):
                dark = np.exp(figures[9]) * mean_darkness(energy * dose, threshold, figures[8])
                missed[station] += (dark - darkness) ** 2
            spots.append((HALF_HEIGHT * sigmas[missed.argmin(axis=1)]).tolist())
        return spots[0], spots[1]

    def darkness_of(self, figures: Floats) -> tuple[Floats, ...]:
        """Return how dark the lines along and across the rows should be."""
        row_sigma = _sigma(figures[_Y], self.rows.heights_mm)
        column_sigma = _sigma(figures[_X], self.columns.heights_mm)
        return self._dark(figures, self._doses(row_sigma, column_sigma))

    def _doses(self, row_sigma: Floats, column_sigma: Floats) -> tuple[Floats, Floats]:
        return (
            row_line_dose(row_sigma, self.pitch_mm),
            column_line_dose(column_sigma, self.pitch_mm, self.dot_mm),
        )

    def _dark(self, figures: Floats, doses: tuple[Floats, Floats]) -> tuple[Floats, ...]:
        deepest = np.exp(figures[9])
        return tuple(
            deepest * lines.dark(dose, threshold, figures[8])
            for lines, dose, threshold in zip(
                (self.rows, self.columns), doses, figures[6:8], strict=True
            )
        )


def _sigma(waist: Floats, heights_mm: Floats) -> Floats:
    middle, log_sigma, log_reach = waist
    sigma: Floats = np.exp(log_sigma) * np.hypot(1.0, (heights_mm - middle) / np.exp(log_reach))
    return sigma


def _sigma_slopes(waist: Floats, heights_mm: Floats) -> Floats:
    """Return the slopes of `_sigma` by the waist's figures, shape (heights, 3)."""
    middle, log_sigma, log_reach = waist
    sigma, reach = np.exp(log_sigma), np.exp(log_reach)
    off = (heights_mm - middle) / reach
    wider = np.hypot(1.0, off)
    slopes = np.stack([-off / wider / reach, wider, -(off**2) / wider], axis=1)
    return np.asarray(slopes * sigma)


def read_focus(card: Card, reading: Reading, *, is_turned_round: bool = False) -> FocusReading:
    """Return what a focus card shows; raise NoFocus where it shows none.

    `is_turned_round` is the person's word that the wedge lay the other way round.
    """
    if card.kind != FOCUS or card.wedge is None:
        raise NoFocus(f"card {card.number} is no focus card")
    wedge = card.wedge.turned_round() if is_turned_round else card.wedge
    seen = _seen(card, reading, wedge)
    heights = seen.rows.heights_mm
    too_far = burnt_too_far(card, reading)
    try:
        figures, covariance = _fitted(seen, heights)
    except NoFocus as error:
        raise error if too_far is None else NoFocus(f"{error}. {too_far.sentence}") from error
    _require_focus(figures, heights)
    along, across = (_waist(figures, covariance, where) for where in (_X, _Y))
    best_mm = _best(figures)
    slopes = jacobian(lambda one: np.array([_best(one)]), figures)[0]
    doubt_mm = NINE_IN_TEN * float(np.sqrt(slopes @ covariance @ slopes))
    low_mm, high_mm = _in_focus(best_mm, along, across)
    chart = np.linspace(heights[0], heights[-1], 41)
    spots = [HALF_HEIGHT * _sigma(figures[where], chart) for where in (_Y, _X)]
    return FocusReading(
        best_mm=best_mm,
        doubt_mm=max(LEAST_DOUBT_MM, doubt_mm),
        low_mm=low_mm,
        high_mm=high_mm,
        along=along,
        across=across,
        stations=len(heights),
        bed_place=wedge.bed_place,
        burnt_too_far=too_far,
        fitted=tuple(zip(chart.tolist(), *(spot.tolist() for spot in spots), strict=True)),
        seen=tuple(zip(heights.tolist(), *seen.spots_alone(figures), strict=True)),
    )


def burnt_too_far(card: Card, reading: Reading) -> BurntTooFar | None:
    """Return what to burn instead where more dose made a focus card paler, None where it did not.

    Solid patches are paler than some lines, or lines are paler than faster ones beside them.
    """
    solids: list[float] = []
    beside: dict[tuple[str, int], list[tuple[float, float]]] = defaultdict(list)
    for patch in card.patches:
        read = reading.of(patch.cell, patch.part)
        if read is None:
            continue
        light = float(lightness(np.array(max(0.0, read.reflectance))))
        if patch.part == SOLID:
            solids.append(light)
        else:
            beside[patch.part, patch.area.left].append((patch.feed_mm_per_min, light))
    paler, darkest_l = 0, 100.0
    for lines in beside.values():
        lights = [light for _, light in sorted(lines)]
        paler += sum(slower - faster > DARKER_L for slower, faster in pairwise(lights))
        darkest_l = min([darkest_l, *lights])
    if paler < TOO_FAR_PATCHES and min(solids, default=0.0) - darkest_l <= DARKER_L:
        return None
    recipe = recipe_at_dose(card, WEAKER)
    return BurntTooFar(feed_mm_per_min=recipe.feed_mm_per_min, power_ratio=recipe.power_ratio)


def _seen(card: Card, reading: Reading, wedge: Wedge) -> _Seen:
    solids = [
        read.reflectance
        for patch in card.patches
        if patch.part == SOLID and (read := reading.of(patch.cell, SOLID)) is not None
    ]
    if not solids or 1 - min(solids) < LEAST_CONTRAST:
        raise NoFocus(
            "the solid patches of the focus card are hardly darker than the bare tile: burn it "
            "slower or with more power"
        )
    black = min(solids)
    lines: dict[str, list[tuple[float, float, float]]] = {ROW_LINES: [], COLUMN_LINES: []}
    for patch in card.patches:
        read = reading.of(patch.cell, patch.part)
        if read is None or patch.part not in lines:
            continue
        middle_mm = (patch.area.left + patch.area.right) / 2 * card.spacing_mm
        power_w = card.head.rated_optical_w * patch.power_ratio
        energy = power_w * SECONDS_PER_MINUTE / patch.feed_mm_per_min
        if patch.part == COLUMN_LINES:
            energy /= card.spacing_mm
        darkness = (1 - read.reflectance) / (1 - black)
        lines[patch.part].append((wedge.height_mm(middle_mm), energy, darkness))
    for part in lines.values():
        _require_lines(part)
    pitch = next(pitch_dots(patch) for patch in card.patches if patch.part == ROW_LINES)
    rows, columns = (_Lines.of(lines[part]) for part in (ROW_LINES, COLUMN_LINES))
    return _Seen(rows, columns, pitch * card.spacing_mm, card.spacing_mm)


def _require_lines(lines: Sequence[tuple[float, float, float]]) -> None:
    visible = {height for height, _, darkness in lines if darkness > LEAST_DARKNESS}
    if len(visible) < LEAST_STATIONS:
        raise NoFocus(
            f"lines can be seen at only {len(visible)} heights: burn the focus card slower, or "
            "nearer to the focus"
        )
    if all(darkness > MOST_DARKNESS for _, _, darkness in lines):
        raise NoFocus("the lines have closed everywhere: burn the focus card faster")


def _fitted(seen: _Seen, heights_mm: Floats) -> tuple[Floats, Floats]:
    """Return the figures that fit best, and their covariance."""
    low, high = heights_mm[0], heights_mm[-1]
    energy = np.log(float(np.median(seen.columns.energy)) / 2)
    fits = []
    for share in _STARTS:
        waist = [low + share * (high - low), np.log(0.04), np.log((high - low) / 4)]
        start = np.array([*waist, *waist, energy, energy, _USUAL_SPREAD[0], 0.0])
        fits.append(least_squares(seen.misses, start, seen.slopes))
    figures = min(fits, key=lambda fit: float((seen.misses(fit) ** 2).sum()))
    if seen.scatter(figures) > MOST_SCATTER:
        raise NoFocus(
            "the lines do not go with one beam: see that the tile lies firmly on its wedge, and "
            "burn the card again"
        )
    off = seen.misses(figures)
    scatter = float((off**2).sum()) / max(1, len(off) - len(figures))
    slopes = seen.slopes(figures)
    covariance = np.linalg.pinv(slopes.T @ slopes) * max(1.0, scatter)
    return figures, covariance


def _best(figures: Floats) -> float:
    """Return where the spot's area is least: the waists' middle, the shorter reach counting more.

    True to second order around it.
    """
    weights = np.exp(-2 * figures[[2, 5]])
    return float((figures[[0, 3]] * weights).sum() / weights.sum())


def _require_focus(figures: Floats, heights_mm: Floats) -> None:
    low, high = float(heights_mm[0]), float(heights_mm[-1])
    widths = _sigma(figures[_Y], heights_mm) * _sigma(figures[_X], heights_mm)
    best = _best(figures)
    if float(widths.max() / widths.min()) < (1 + LEAST_CHANGE) ** 2:
        raise NoFocus(
            "the lines are as wide all over the card, so it shows no focus: use a steeper wedge"
        )
    if best <= low:
        raise NoFocus(_beyond("low", "lower", low))
    if best >= high:
        raise NoFocus(_beyond("high", "higher", high))


def _beyond(end: str, way: str, height_mm: float) -> str:
    laser = "raise" if way == "lower" else "lower"
    return (
        f"the lines get thinner up to the wedge's {end} end: the focus lies {way} than "
        f"{height_mm:.1f} mm. Pack the wedge {way}, or {laser} the laser, and burn a new card"
    )


def _waist(figures: Floats, covariance: Floats, where: slice) -> Waist:
    height, log_sigma, log_reach = figures[where]
    doubts = NINE_IN_TEN * np.sqrt(np.diag(covariance))[where]
    spot = HALF_HEIGHT * float(np.exp(log_sigma))
    return Waist(
        height_mm=float(height),
        doubt_mm=max(LEAST_DOUBT_MM, float(doubts[0])),
        spot_mm=spot,
        spot_doubt_mm=spot * float(np.hypot(LEAST_SPOT_DOUBT, doubts[1])),
        reach_mm=float(np.exp(log_reach)),
    )


def _in_focus(best_mm: float, along: Waist, across: Waist) -> tuple[float, float]:
    """Return between which heights the spot is hardly wider than at its best."""

    def width(height_mm: Floats) -> Floats:
        return np.asarray(
            np.sqrt(along.relative_width(height_mm) * across.relative_width(height_mm))
        )

    limit = FACTOR_IN_FOCUS * float(width(np.array([best_mm]))[0])
    ends = []
    for way in (-1, 1):
        near, far = 0.0, 4 * max(along.reach_mm, across.reach_mm)
        while far - near > 1e-4:
            middle = (near + far) / 2
            is_within = float(width(np.array([best_mm + way * middle]))[0]) <= limit
            near, far = (middle, far) if is_within else (near, middle)
        ends.append(best_mm + way * near)
    return ends[0], ends[1]
