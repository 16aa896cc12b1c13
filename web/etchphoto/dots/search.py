"""Dots by search: toggled and swapped until an eye sees as little as possible of what is wrong.

Direct binary search after M. Analoui and J. P. Allebach (Proc. SPIE 1666, 1992, from memory), with
this surface's dots in place of square ones. What is wrong is each dot's darkness, by the table of
neighbourhoods, less the wanted one; blurred as an eye does and weighted by how much lightness L*
hangs on darkness there. A toggle moves the darkness of nine dots, a swap of twelve or fourteen,
and the change of the error follows from those alone. Dots of one phase of a grid lie too far apart
to disturb one another, so all of them are judged at once.

A coat is uneven, and the dot itself known only so well: the same dots come out as if etched with
more light here and less there. So two errors are made small as one, that of the mean and how far
the better and the worse places lie off it. Patterns whose darkness hangs less on the light win;
they have fewer edges, which also means fewer switches of the beam.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from etchphoto.dots.eye import sharp_sigma_dots
from etchphoto.dots.neighbourhoods import (
    LEVEL,
    LEVELS,
    OUTSIDE,
    Table,
    code_bit,
    codes_of,
    darkness_tables,
)
from etchphoto.dots.rendering import Bits, darkness
from etchphoto.dots.speeds import Motion
from etchphoto.dots.tone_curve import tone_curve_of
from etchphoto.halftone import FLOYD_STEINBERG, diffuse_evenly
from etchwire.catalogue.dot import Dot

Floats = NDArray[np.float32]
Indices = NDArray[np.intp]

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
_BAND_DOTS: Final = 100_000  # looked after at a time: what a processor's cache holds
_SWEEPS: Final = 7  # all but the first aim aside by the whole model: it takes so many to settle


def search_dots(  # noqa: PLR0913 - one keyword for each thing a caller may choose
    wanted: Floats,
    dot: Dot,
    *,
    spacing_mm: float,
    motion: Motion | None = None,
    switch_price: float = 0.0,
    seed: int = 1,
    on_progress: Callable[[float], None] = lambda _: None,
    on_preview: Callable[[Bits], None] = lambda _: None,
) -> Bits:
    """Return the dots, True = burnt, that show `wanted` best where a dot is like `dot`.

    `wanted` is the darkness of each dot, 0 bare to 1 solid, shape (rows, columns). By `motion`
    dots get less light where the head is slowed down; without it, all the same. `on_progress`
    hears how much is done, 0 to 1, and cancels by raising; `on_preview` gets the dots as they are
    after the first sweep. The same `seed` gives the same dots; a picture cut in two does not.
    """
    start = diffuse_evenly(tone_curve_of(dot, FLOYD_STEINBERG).apply(wanted), FLOYD_STEINBERG)
    eye_sigma_dots = sharp_sigma_dots(spacing_mm)
    search = Search(wanted, doubted(dot), start, eye_sigma_dots=eye_sigma_dots, seed=seed)
    light_of = None if motion is None else partial(motion.light, dot=dot)
    for number in range(_SWEEPS):
        on_progress(number / _SWEEPS)
        if number > 0:
            search.correct(None if light_of is None else light_of(search.bits))
        search.sweep(switch_price)
        if number == 0:
            on_preview(search.bits)
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

    It is tried on a small even ramp, without what every search begins with.
    """
    side = math.isqrt(_BAND_DOTS)
    ramp = np.tile(np.linspace(0, 1, side, dtype=np.float32), (side, 1))
    at_s: list[float] = []
    search_dots(
        ramp, dot, spacing_mm=spacing_mm, motion=motion, switch_price=switch_price,
        on_progress=lambda _: at_s.append(processor_s()),
    )  # fmt: skip
    return (at_s[-1] - at_s[0]) / ramp.size


def doubted(dot: Dot) -> Dot:
    """Return the dot as uneven as its coat, or as doubtful as its law fits, whichever is more."""
    doubt = min(_MOST_DOUBT, _LEAST_DOUBT + _DOUBT_OF_MISS * dot.fit_error)
    return replace(dot, unevenness=max(dot.unevenness, doubt))


@dataclass(frozen=True, slots=True)
class Move:
    """A toggle, or a swap with the dot `step` away.

    `flipped` are the dots that change and `places` those whose darkness does, seen from the one
    that is tried; `bits` of a place's code turn over.
    """

    flipped: tuple[tuple[int, int], ...]
    places: NDArray[np.intp]
    bits: tuple[int, ...]


def _move(*flipped: tuple[int, int]) -> Move:
    bits: dict[tuple[int, int], int] = {}
    for y, x in flipped:
        for dy in (-1, 0, 1):
            for dx in (-1, 0, 1):
                place = y + dy, x + dx
                bits[place] = bits.get(place, 0) | code_bit(-dy, -dx)
    return Move(flipped, np.array(list(bits)), tuple(bits.values()))


TOGGLE: Final = _move((0, 0))
SWAPS: Final = tuple(_move((0, 0), step) for step in ((0, 1), (1, 0), (1, 1), (1, -1)))
MOVES: Final = (TOGGLE, *SWAPS)


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
        self._burnt = np.pad(start, _MARGIN).ravel()
        self._codes = self._first_codes(start)
        slope = _lightness_slope(self._wanted, dot.black, eye_sigma_dots)
        self._weight = np.pad(slope**2, _MARGIN).ravel()
        self._plans = [_Plan.of(move, self._shape[1], self._eye) for move in MOVES]
        self._layers = [_Layer(table, self._codes, self._plans) for table in darkness_tables(dot)]
        self._aim_at(self._wanted)

    @property
    def bits(self) -> Bits:
        """The dots so far, True = burnt."""
        return np.ascontiguousarray(self._cut(self._burnt))

    @property
    def switches(self) -> int:
        """How often the beam goes on or off along the rows."""
        burnt = self._burnt.reshape(self._shape)
        return int(np.count_nonzero(burnt[:, 1:] != burnt[:, :-1]))

    @property
    def wrong(self) -> float:
        """What is made small: the mean square of what is seen to be wrong, in L*²."""
        squares = [float(self._blurred(one.error) ** 2 @ self._weight) for one in self._layers]
        return sum(squares) / self._wanted.size

    def sweep(self, switch_price: float = 0.0) -> int:
        """Try every dot once, with the best of MOVES; return how many were made.

        `switch_price` is what each switch of the beam that a move adds along its row must win,
        in L*² of one dot.
        """
        rows, columns = self._wanted.shape
        band_rows = max(1, _BAND_DOTS // columns)
        made = 0
        for first in range(0, rows, band_rows):
            band = range(first, min(first + band_rows, rows))
            for phase in self._random.permutation(PERIOD * PERIOD).tolist():
                top, left = divmod(phase, PERIOD)
                if top < len(band) and left < columns:
                    y = np.arange(first + top, band.stop, PERIOD) + _MARGIN
                    x = np.arange(left, columns, PERIOD) + _MARGIN
                    dots = (y[:, np.newaxis] * self._shape[1] + x).ravel()
                    made += self._try(dots, band, switch_price)
        return made

    def correct(self, light: Floats | None = None) -> None:
        """Aim aside by what the whole model says beyond the tables, seen from afar.

        `light` is by what factor the light of each dot counts; without it, by 1.
        """
        by_tables = self._cut(self._layers[0].table[self._codes])
        off = darkness(self.bits, self._dot, light) - by_tables
        smooth = cv2.GaussianBlur(off, (0, 0), _SMOOTH_DOTS, borderType=cv2.BORDER_REFLECT)
        self._aim_at(self._wanted - smooth)

    def _aim_at(self, wanted: Floats) -> None:
        for layer in self._layers:
            layer.error = layer.table[self._codes]
        self._layers[0].error -= np.pad(wanted, _MARGIN).ravel()

    def _cut(self, flat: NDArray[Any]) -> NDArray[Any]:
        return flat.reshape(self._shape)[_MARGIN:-_MARGIN, _MARGIN:-_MARGIN]

    def _first_codes(self, start: Bits) -> NDArray[np.int32]:
        share = start.astype(np.float32)
        around = cv2.GaussianBlur(share, (0, 0), _AROUND_DOTS, borderType=cv2.BORDER_REFLECT)
        codes = np.full(self._shape, OUTSIDE, dtype=np.int32)
        level = np.rint(around * (LEVELS - 1)).astype(np.int32)
        inside = codes_of(start) + LEVEL * level
        codes[_MARGIN:-_MARGIN, _MARGIN:-_MARGIN] = inside
        return codes.ravel()

    def _try(self, dots: Indices, band: range, switch_price: float) -> int:
        """Make the best move of each of these dots that gains; return how many were made."""
        pulls = self._pulls(band)
        cost = np.zeros((len(self._plans), len(dots)), dtype=np.float32)
        for number, plan in enumerate(self._plans):
            chosen = self._may_move(plan, dots)
            at = dots[chosen]
            if len(at):
                cost[number, chosen] = self._cost(number, at, pulls, switch_price)
        best = cost.argmin(axis=0)
        is_gain = cost.min(axis=0) < -_LEAST_GAIN
        for number, plan in enumerate(self._plans):
            self._make(plan, dots[is_gain & (best == number)])
        return int(is_gain.sum())

    def _may_move(self, plan: "_Plan", dots: Indices) -> NDArray[np.intp]:
        """Return which of these dots differ from the one that they would be swapped with."""
        if len(plan.flipped) == 1:
            return np.arange(len(dots))
        other = dots + plan.flipped[1]
        return np.flatnonzero((self._burnt[dots] != self._burnt[other]) & self._is_inside[other])

    def _pulls(self, band: range) -> "_Pulls":
        """Return by how much the sum of squares grows with the darkness of dots near a band."""
        reach = _MARGIN + 2 * (len(self._eye) // 2)
        width = self._shape[1]
        first = max(0, band.start + _MARGIN - reach) * width
        near = slice(first, min(self._shape[0], band.stop + _MARGIN + reach) * width)
        weight = self._weight[near]
        return _Pulls(
            first,
            [self._blurred(self._blurred(layer.error[near]) * weight) for layer in self._layers],
        )

    def _blurred(self, flat: Floats) -> Floats:
        picture = flat.reshape(-1, self._shape[1])
        eye = self._eye
        blurred = cv2.sepFilter2D(picture, -1, eye, eye, borderType=cv2.BORDER_CONSTANT)
        return np.asarray(blurred, dtype=np.float32).ravel()

    def _cost(self, number: int, at: Indices, pulls: "_Pulls", switch_price: float) -> Floats:
        """Return what a move adds to the error at each of these dots, in L*²."""
        plan = self._plans[number]
        places = at + plan.places[:, np.newaxis]
        codes = self._codes.take(places)
        weight = self._weight.take(at)
        cost = np.zeros(len(at), dtype=np.float32)
        for layer, pull in zip(self._layers, pulls.of_layers, strict=True):
            change = layer.changes(number, codes)
            slope = weight * (plan.overlaps @ change) + 2 * pull.take(places - pulls.first)
            cost += np.einsum("kn,kn->n", change, slope)
        if switch_price:
            cost += np.float32(switch_price) * self._switches_more(plan, at)
        return cost

    def _switches_more(self, plan: "_Plan", at: Indices) -> NDArray[np.int64]:
        """Return how many switches along the rows a move adds at each of these dots."""
        more = np.zeros(len(at), dtype=np.int64)
        for dot, beside in plan.edges:
            more += 1 - 2 * (self._burnt.take(at + dot) != self._burnt.take(at + beside))
        return more

    def _make(self, plan: "_Plan", at: Indices) -> None:
        for place, bit in zip(plan.places.tolist(), plan.bits, strict=True):
            where = at + place
            old = self._codes[where]
            self._codes[where] = old ^ bit
            for layer in self._layers:
                layer.error[where] += layer.table[old ^ bit] - layer.table[old]
        for dot in plan.flipped:
            self._burnt[at + dot] ^= True


@dataclass(frozen=True, slots=True)
class _Pulls:
    """Half of what the sum of squares gains with each dot's darkness, from place `first` on."""

    first: int
    of_layers: list[Floats]


@dataclass(frozen=True, slots=True)
class _Plan:
    """A move in a flat picture: `overlaps` is the share of the eye's blur that places share."""

    flipped: tuple[int, ...]
    places: Indices
    bits: tuple[int, ...]
    overlaps: Floats
    edges: tuple[tuple[int, int], ...]  # a dot that flips, and one beside it that does not

    @classmethod
    def of(cls, move: Move, width: int, eye: Floats) -> "_Plan":
        overlap = np.convolve(eye, eye)
        y, x = move.places.T
        apart_y, apart_x = (np.abs(one[:, np.newaxis] - one) + len(eye) - 1 for one in (y, x))
        edges = [
            (dy * width + dx, dy * width + dx + beside)
            for dy, dx in move.flipped
            for beside in (-1, 1)
            if (dy, dx + beside) not in move.flipped
        ]
        return cls(
            flipped=tuple(dy * width + dx for dy, dx in move.flipped),
            places=y * width + x,
            bits=move.bits,
            overlaps=overlap[apart_y] * overlap[apart_x],
            edges=tuple(edges),
        )


class _Layer:
    """One table, the error by it, and by how much it changes where bits of a code turn over."""

    def __init__(self, table: Table, codes: NDArray[np.int32], plans: list[_Plan]) -> None:
        self.table, self.error = table, table[codes]
        every = np.arange(len(table), dtype=np.int32)
        bits = {bit for plan in plans for bit in plan.bits}
        by_bits = {bit: table[every ^ bit] - table for bit in bits}
        self._changes = [np.stack([by_bits[bit] for bit in plan.bits]) for plan in plans]

    def changes(self, number: int, codes: NDArray[np.int32]) -> Floats:
        """Return the change of darkness at each place of a move, shape of `codes`."""
        changes = self._changes[number]
        first = np.arange(len(changes), dtype=np.int32)[:, np.newaxis] * changes.shape[1]
        found: Floats = changes.ravel().take(codes + first)
        return found


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
