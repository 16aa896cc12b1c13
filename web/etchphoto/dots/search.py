"""Dots by search: turned over and moved until an eye sees as little as possible of what is wrong.

Direct binary search after M. Analoui and J. P. Allebach (Proc. SPIE 1666, 1992, from memory), with
this surface's dots in place of square ones. What is wrong is each dot's darkness, by the table of
neighbourhoods, less the wanted one; blurred as an eye does and weighted by how much lightness L*
hangs on darkness there. A move changes the darkness of nine to eighteen dots, and the change of the
error follows from those alone. Dots of one phase of a grid lie too far apart to disturb one
another, so all of them are judged at once.

Rows lie as far apart as the spot is wide, but along a row the beam can switch anywhere. So runs
begin and end at halves of dots, and no run is shorter than a dot. With a little heat at first that
takes 6 to 11 % off what is wrong at 0.1 mm, and 10 to 18 % at 0.15 mm (invented surfaces).

A coat is uneven, and the dot itself known only so well: the same dots come out as if etched with
more light here and less there. So two errors are made small as one complex number, that of the mean
and how far the better and the worse places lie off it. Patterns whose darkness hangs less on the
light win; they have fewer edges, which also means fewer switches of the beam.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import product
from typing import Any, Final, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from etchpath.writer.raster import Bits, in_parts
from etchphoto.dots.eye import sharp_sigma_dots
from etchphoto.dots.heats import HEATS, ROUGH_HEATS, Heats
from etchphoto.dots.neighbourhoods import (
    CODES,
    HALVES,
    LEVEL,
    LEVELS,
    OUTSIDE,
    burnt_of,
    code_bit,
    codes_of,
    darkness_table,
    occurring_codes,
    switches_of,
)
from etchphoto.dots.rendering import darkness
from etchphoto.dots.speeds import Motion
from etchphoto.dots.tone_curve import tone_curve_of
from etchphoto.halftone import FLOYD_STEINBERG, diffuse_evenly
from etchwire.catalogue.dot import Dot

Floats = NDArray[np.float32]
Indices = NDArray[np.intp]
Errors = NDArray[np.complex64]  # of the mean, and of how far a coat's places go off it
Half: TypeAlias = tuple[int, int]  # rows below the dot that is tried, halves right of its left one

MAY_NOT: Final = 127

PERIOD: Final = 6  # of the grid
_MARGIN: Final = 2  # dots round the picture, so that every neighbour has a place
_AROUND_DOTS: Final = 2.5  # within which the share burnt decides the level of a table
_LEAST_GAIN: Final = 1e-5  # L*²: for less, rounding would turn dots round in circles
_SMOOTH_DOTS: Final = 2.5  # over which the whole model corrects the tables
# Of exposure: how well a tone card tells a dot, by how far its law misses the reflectance of the
# steps (tried on invented surfaces). More spoils thick coats, and even greys of a dot that fits.
_LEAST_DOUBT: Final = 0.035
_DOUBT_OF_MISS: Final = 3.0
_MOST_DOUBT: Final = 0.05
_ALONE: Final = 0.04  # of reflectance: in the dark single bare dots are seen, never less light
_BAND_DOTS: Final = 250_000  # looked after at a time: many calls cost more than a cache saves
_DOTS_AT_ONCE: Final = 1_000  # of which all moves are judged together: so much a cache holds
_TRIED_SIDE: Final = 200  # dots: half a second's search, where a picture's takes some


def search_dots(  # noqa: PLR0913 - one keyword for each thing a caller may choose
    wanted: Floats,
    dot: Dot,
    *,
    spacing_mm: float,
    motion: Motion | None = None,
    switch_price: float = 0.0,
    seed: int = 1,
    heats: Heats = HEATS,
    on_progress: Callable[[float], None] = lambda _: None,
    on_preview: Callable[[Bits], None] = lambda _: None,
) -> Bits:
    """Return the dots, True = burnt, that show `wanted` best where a dot is like `dot`.

    `wanted` is the darkness of each dot, 0 bare to 1 solid, shape (rows, columns). By `motion`
    dots get less light where the head is slowed down; without it, all the same. `on_progress`
    hears how much is done, 0 to 1, and cancels by raising; `on_preview` gets those it starts from.
    The same `seed` gives the same dots; a picture cut in two does not. The fewer `heats`, one a
    sweep, the less time it takes.

    Dots are given in parts, shape (rows, columns, HALVES), and no run is shorter than a dot.
    """
    whole = diffuse_evenly(tone_curve_of(dot, FLOYD_STEINBERG).apply(wanted), FLOYD_STEINBERG)
    start = in_parts(whole, HALVES)
    on_preview(start)
    eye_sigma_dots = sharp_sigma_dots(spacing_mm)
    search = Search(wanted, doubted(dot), start, eye_sigma_dots=eye_sigma_dots, seed=seed)
    light_of = None if motion is None else partial(motion.light, dot=dot)
    for number, heat in enumerate(heats):
        on_progress(number / len(heats))
        if number > 0:
            search.correct(None if light_of is None else light_of(search.bits))
        search.sweep(switch_price, heat)
    on_progress(1.0)
    return search.bits


def search_s_per_dot(
    dot: Dot,
    processor_s: Callable[[], float],
    *,
    spacing_mm: float,
    motion: Motion,
    switch_price: float,
) -> float:
    """Return how long this computer searches for a dot, in seconds by the clock `processor_s`.

    It is tried on a small even ramp, roughly, and without what every search begins with: each sweep
    but the first takes alike.
    """
    ramp = np.tile(np.linspace(0, 1, _TRIED_SIDE, dtype=np.float32), (_TRIED_SIDE, 1))
    at_s: list[float] = []
    search_dots(
        ramp, dot, spacing_mm=spacing_mm, motion=motion, switch_price=switch_price,
        heats=ROUGH_HEATS, on_progress=lambda _: at_s.append(processor_s()),
    )  # fmt: skip
    began_s, first_s, *_, ended_s = at_s
    later_s = (ended_s - first_s) / (len(ROUGH_HEATS) - 1) * (len(HEATS) - 1)
    return (first_s - began_s + later_s) / ramp.size


def doubted(dot: Dot) -> Dot:
    """Return the dot as uneven as its coat, or as doubtful as its law fits, whichever is more."""
    doubt = min(_MOST_DOUBT, _LEAST_DOUBT + _DOUBT_OF_MISS * dot.fit_error)
    return replace(dot, unevenness=max(dot.unevenness, doubt))


@dataclass(frozen=True, slots=True)
class Move:
    """A run's end moved, a short run set or taken out, or darkness moved from place to place.

    `places` are the dots whose darkness changes, seen from the one that is tried, as (rows below,
    columns to the right), shape (n, 2); `bits` of their codes turn over, shape (n,). `others` are
    the dots beside the one tried in which something is turned over. `switches` says by the code of
    the one tried how many switches along the rows there will be more, or MAY_NOT.
    """

    places: NDArray[np.intp]
    bits: NDArray[np.int32]
    others: tuple[tuple[int, int], ...]
    switches: NDArray[np.int8]


def _move(some: tuple[Half, ...], others: tuple[Half, ...] = ()) -> Move:
    """Return the move that swaps burnt halves with bare ones; without others, turns some over."""
    halves = (*some, *others)
    bits = {}
    for y, x in product(range(-1, 3), range(-2, 3)):
        turned = _mask((dy - y, half - HALVES * x) for dy, half in halves)
        if turned:
            bits[y, x] = turned
    codes, mask = occurring_codes(), _mask(halves)
    burnt, occurs = codes & mask, np.zeros(CODES, dtype=np.bool_)
    occurs[codes] = True
    may = ((burnt == _mask(some)) | (burnt == _mask(others))) & occurs[codes ^ mask]
    switches = np.full(CODES, MAY_NOT, dtype=np.int8)
    switches[codes[may]] = switches_of(codes[may] ^ mask) - switches_of(codes[may])
    return Move(
        places=np.array(list(bits)),
        bits=np.array(list(bits.values()), dtype=np.int32),
        others=tuple(sorted({(dy, half // HALVES) for dy, half in halves} - {(0, 0)})),
        switches=switches,
    )


def _mask(halves: Iterable[Half]) -> int:
    return sum(code_bit(dy, half) for dy, half in halves)


@cache
def moves() -> tuple[Move, ...]:
    """Return the moves that are tried with every dot."""
    ends = [_move(((0, half),)) for half in (0, 1)]
    runs = [_move(((0, half), (0, half + 1))) for half in (0, 1)]
    along = [_move(((0, half),), ((0, half + 2),)) for half in (-1, 0)]
    ends_across = [
        _move(((0, half),), ((1, half + aside),)) for half in (0, 1) for aside in (-1, 0, 1)
    ]
    runs_across = [
        _move(((0, half), (0, half + 1)), ((1, below), (1, below + 1)))
        for half in (0, 1)
        for below in (-1, 0, 1)
    ]
    return (*ends, *runs, *along, *ends_across, *runs_across)


class Search:
    """Dots on their way to better ones: flat arrays of a picture with a margin."""

    def __init__(
        self, wanted: Floats, dot: Dot, start: Bits, *, eye_sigma_dots: float, seed: int
    ) -> None:
        """Begin at `start`; `wanted` is each dot's darkness, 0 bare to 1 solid, in its shape."""
        self._dot = dot
        self._wanted = wanted.astype(np.float32)
        self._shape = tuple(side + 2 * _MARGIN for side in wanted.shape)
        self._random = np.random.default_rng(seed)
        self._eye = _gaussian(eye_sigma_dots)
        self._is_inside = np.pad(np.ones(wanted.shape, dtype=np.bool_), _MARGIN).ravel()
        self._codes = self._first_codes(start)
        slope = _lightness_slope(self._wanted, dot.black, eye_sigma_dots)
        self._weight = np.pad(slope**2, _MARGIN).ravel()
        self._plans = _Plans.of(moves(), self._shape[1], self._eye)
        self._table = darkness_table(dot)
        self._aim_at(self._wanted)

    @property
    def bits(self) -> Bits:
        """The dots so far, True = burnt, shape (rows, columns, HALVES)."""
        return burnt_of(self._cut(self._codes))

    @property
    def wrong(self) -> float:
        """What is made small: the mean square of what is seen to be wrong, in L*²."""
        blurred = self._blurred(self._error)
        return float((blurred.real**2 + blurred.imag**2) @ self._weight) / self._wanted.size

    def sweep(self, switch_price: float = 0.0, heat: float = 0.0) -> None:
        """Try every dot once, with the best of the moves.

        `switch_price` is what each switch of the beam that a move adds along its row must win,
        in L*² of one dot; `heat` by how much a move may lose, on average.
        """
        rows, columns = self._wanted.shape
        band_rows = max(1, _BAND_DOTS // columns)
        for first in range(0, rows, band_rows):
            band = range(first, min(first + band_rows, rows))
            for phase in self._random.permutation(PERIOD * PERIOD).tolist():
                top, left = divmod(phase, PERIOD)
                if top < len(band) and left < columns:
                    y = np.arange(first + top, band.stop, PERIOD) + _MARGIN
                    x = np.arange(left, columns, PERIOD) + _MARGIN
                    dots = (y[:, np.newaxis] * self._shape[1] + x).ravel()
                    self._try(dots, band, switch_price, heat)

    def correct(self, light: Floats | None = None) -> None:
        """Aim aside by what the whole model says beyond the tables, seen from afar.

        `light` is by what factor the light of each dot counts; without it, by 1.
        """
        off = darkness(self.bits, self._dot, light) - self._cut(self._table[self._codes]).real
        smooth = cv2.GaussianBlur(off, (0, 0), _SMOOTH_DOTS, borderType=cv2.BORDER_REFLECT)
        self._aim_at(self._wanted - smooth)

    def _aim_at(self, wanted: Floats) -> None:
        self._error = self._table[self._codes] - np.pad(wanted, _MARGIN).ravel()

    def _cut(self, flat: NDArray[Any]) -> NDArray[Any]:
        return flat.reshape(self._shape)[_MARGIN:-_MARGIN, _MARGIN:-_MARGIN]

    def _first_codes(self, start: Bits) -> Indices:
        share = start.mean(axis=2, dtype=np.float32)
        around = cv2.GaussianBlur(share, (0, 0), _AROUND_DOTS, borderType=cv2.BORDER_REFLECT)
        codes = np.full(self._shape, OUTSIDE, dtype=np.intp)
        level = np.rint(around * (LEVELS - 1)).astype(np.int32)
        inside = codes_of(start) + LEVEL * level
        codes[_MARGIN:-_MARGIN, _MARGIN:-_MARGIN] = inside
        return codes.ravel()

    def _try(self, dots: Indices, band: range, switch_price: float, heat: float) -> None:
        """Make the best move of each of these dots, where it may be made."""
        pulls = self._pulls(band)
        some = (dots[at : at + _DOTS_AT_ONCE] for at in range(0, len(dots), _DOTS_AT_ONCE))
        cost = np.concatenate([self._costs(one, pulls, switch_price) for one in some], axis=1)
        best = cost.argmin(axis=0)
        may_lose = heat * self._random.exponential(size=len(dots))
        is_made = cost.min(axis=0) < may_lose - _LEAST_GAIN
        self._make(best[is_made], dots[is_made])

    def _costs(self, dots: Indices, pulls: "_Pulls", switch_price: float) -> Floats:
        """Return what each move at each of these dots adds to the error, in L*²; inf: may not."""
        plans = self._plans
        switches = plans.switches.take(self._codes.take(dots) & (CODES - 1), axis=1)
        is_inside = self._is_inside.take(dots + plans.others[..., np.newaxis]).all(axis=1)
        number, at = np.nonzero((switches != MAY_NOT) & is_inside)
        cost = np.full(switches.shape, np.inf, dtype=np.float32)
        priced = np.float32(switch_price) * switches[number, at]
        cost[number, at] = self._cost(number, dots[at], pulls) + priced
        return cost

    def _pulls(self, band: range) -> "_Pulls":
        """Return by how much the sum of squares grows with the darkness of dots near a band."""
        reach = _MARGIN + 2 * (len(self._eye) // 2)
        width = self._shape[1]
        first = max(0, band.start + _MARGIN - reach) * width
        near = slice(first, min(self._shape[0], band.stop + _MARGIN + reach) * width)
        return _Pulls(
            first, 2 * self._blurred(self._blurred(self._error[near]) * self._weight[near])
        )

    def _blurred(self, flat: Errors) -> Errors:
        """Return what an eye blends, of flat rows."""
        picture = flat.view(np.float32).reshape(-1, self._shape[1], 2)
        eye = self._eye
        blurred = cv2.sepFilter2D(picture, -1, eye, eye, borderType=cv2.BORDER_CONSTANT)
        return np.asarray(blurred, dtype=np.float32).view(np.complex64).ravel()

    def _cost(self, number: Indices, at: Indices, pulls: "_Pulls") -> Floats:
        """Return what moves of these numbers, which rise, add to the error at these dots."""
        plans = self._plans
        places = at + plans.places.take(number, axis=1)
        codes = self._codes.take(places)
        change = self._table.take(codes ^ plans.bits.take(number, axis=1))
        change -= self._table.take(codes)
        changes = change.view(np.float32)  # of the mean and of the give or take by turns
        slope = np.zeros_like(changes)
        ends = 2 * np.searchsorted(number, np.arange(len(plans.overlaps) + 1))
        for overlaps, first, end in zip(plans.overlaps, ends, ends[1:], strict=False):
            count = len(overlaps)
            np.matmul(overlaps, changes[:count, first:end], out=slope[:count, first:end])
        slope *= self._weight.take(at).repeat(2)
        slope += pulls.of_dots.take(places - pulls.first).view(np.float32)
        cost: Floats = np.einsum("kn,kn->n", changes, slope).reshape(-1, 2).sum(axis=1)
        return cost

    def _make(self, number: Indices, at: Indices) -> None:
        """Make moves of these numbers at these dots, none of which disturbs another."""
        plans = self._plans
        is_place = plans.is_place.take(number, axis=1)
        places = (at + plans.places.take(number, axis=1))[is_place]
        before = self._codes.take(places)
        after = before ^ plans.bits.take(number, axis=1)[is_place]
        self._codes[places] = after
        self._error[places] += self._table.take(after) - self._table.take(before)


@dataclass(frozen=True, slots=True)
class _Pulls:
    """What the sum of squares gains with each dot's darkness, from place `first` on."""

    first: int
    of_dots: Errors


@dataclass(frozen=True, slots=True)
class _Plans:
    """All moves in a flat picture, side by side: each has as many places as the one with the most.

    Those that it has not, where `is_place` is False, stand for the dot itself, in which nothing is
    turned over. `places`, `bits` and `is_place` have the shape (places, moves), `others` (moves,
    others), `switches` (moves, CODES). `overlaps` has for each move the share of the eye's blur
    that its places share, without those that stand for the dot.
    """

    places: Indices
    bits: NDArray[np.int32]
    is_place: NDArray[np.bool_]
    others: Indices
    switches: NDArray[np.int8]
    overlaps: tuple[Floats, ...]

    @classmethod
    def of(cls, some: Sequence[Move], width: int, eye: Floats) -> "_Plans":
        places = [move.places @ (width, 1) for move in some]
        others = [np.array([dy * width + dx for dy, dx in move.others]) for move in some]
        return cls(
            places=_side_by_side(places, np.intp).T,
            bits=_side_by_side([move.bits for move in some], np.int32).T,
            is_place=_side_by_side([np.ones(len(one)) for one in places], np.bool_).T,
            others=_side_by_side(others, np.intp),
            switches=np.stack([move.switches for move in some]),
            overlaps=tuple(_overlaps(move, eye) for move in some),
        )


def _side_by_side(rows: Sequence[NDArray[Any]], dtype: type) -> NDArray[Any]:
    """Return rows of any length as those of one array, filled up with zeros."""
    whole: NDArray[Any] = np.zeros((len(rows), max(len(row) for row in rows)), dtype=dtype)
    for at, row in enumerate(rows):
        whole[at, : len(row)] = row
    return whole


def _overlaps(move: Move, eye: Floats) -> Floats:
    overlap = np.convolve(eye, eye)
    y, x = move.places.T
    apart_y, apart_x = (np.abs(one[:, np.newaxis] - one) + len(eye) - 1 for one in (y, x))
    shares: Floats = overlap[apart_y] * overlap[apart_x]
    return shares


def _gaussian(sigma: float) -> Floats:
    reach = max(1, int(np.ceil(3 * sigma)))
    values = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    shares: Floats = (values / values.sum()).astype(np.float32)
    return shares


def _lightness_slope(wanted: Floats, black: float, sigma: float) -> Floats:
    """Return how many points of L* hang on a darkness of 1 where `wanted` is what is seen."""
    seen = cv2.GaussianBlur(wanted, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    reflectance = 1 - (1 - black) * seen + _ALONE
    return np.asarray(116 / 3 * (1 - black) * reflectance ** (-2 / 3), dtype=np.float32)
