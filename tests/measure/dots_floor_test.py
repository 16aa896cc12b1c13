"""How little any dots can leave wrong, beside what the search leaves: an oracle. Prints a table.

`pytest -m measure tests/measure/dots_floor_test.py -s`, minutes for each surface. The oracle knows
what nobody knows: the practice surface's own law, without a card. It starts from searched dots and
anneals them, one half of a dot after another turned over or swapped, judged by what all cells
around then reflect and by L* itself, not by a table and a slope. As in the search, no run is
shorter than a dot. The head runs at an even speed. What it ends at on the real coat (of which it
knows by how much it varies, and not where) is what the tile can hold: a gain below that cannot be
had by any such dots.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from etchpath.writer.raster import parts_of
from etchphoto.dots.eye import sharp_sigma_dots
from etchphoto.dots.neighbourhoods import HALVES
from etchphoto.dots.search import search_dots
from etchphoto.dots.tone_curve import tone_curve_of
from etchphoto.halftone import KERNELS, diffuse_evenly
from etchphoto.light import lightness
from measure.dot_search_test import CELLS, PHOTOGRAPHS, TRUTHS, error, read_cards, wanted_of

pytestmark = pytest.mark.measure

PART = slice(60, 130), slice(100, 170)  # of 300 × 300 dots
REACH = 3  # dots beyond which the light of one is nothing
SWEEPS, HOTTEST, COLDEST = 40, 50.0, 0.5  # L*², summed over the dots that a move changes
# A swap with the half of a dot so many rows below and halves to the right; (0, 0) is a toggle.
STEPS = tuple((y, x) for y in (-1, 0, 1) for x in range(-HALVES, HALVES + 1))
SCALE = CELLS, CELLS // HALVES  # cells to a row, and to a half of a dot
SHORT_RUN = 200.0  # L*², more than any move gains


class Oracle:
    """Halves of dots on a surface that is known wholly, in a margin that is not looked at."""

    def __init__(self, wanted, truth, black, start, seed=1):
        self._random = np.random.default_rng(seed)
        self._truth = truth
        sigma = sharp_sigma_dots(truth.spacing_mm)
        self._eye = _gaussian(sigma), _gaussian(sigma * HALVES)
        # A move changes what is near, and an eye sees it from around: rows, and halves.
        self._near = REACH + 1, (REACH + 1) * HALVES
        self._around = tuple(
            near + len(eye) // 2 for near, eye in zip(self._near, self._eye, strict=True)
        )
        self._sides = tuple(2 * one + 1 for one in self._around)
        alone = np.zeros([2 * one + 1 for one in self._near], dtype=bool)
        alone[self._near] = True
        footprint = self._exposure(alone)
        self._footprints = {
            step: footprint
            - (np.roll(footprint, np.multiply(step, SCALE), (0, 1)) if any(step) else 0)
            for step in STEPS
        }
        uneven = truth.surface.unevenness
        self._coats = sorted({1 - uneven, 1 + uneven})
        margin = [(one, one) for one in self._around]
        self._bits = np.pad(parts_of(start), margin)
        self._inside = np.pad(np.ones_like(parts_of(start)), margin)
        self._light = self._exposure(self._bits)
        self._shown = [self._reflected(self._light, coat) for coat in self._coats]
        self._seen = [self._blurred(one) for one in self._shown]
        held = np.pad(1 - (1 - black) * wanted.repeat(HALVES, axis=1), margin, constant_values=1)
        self._held = lightness(self._blurred(held))
        self._smear = [
            _smear(side, 2 * near + 1, eye)
            for side, near, eye in zip(self._sides, self._near, self._eye, strict=True)
        ]

    @property
    def bits(self):
        rows, halves = self._around
        inside = self._bits[rows:-rows, halves:-halves]
        return inside.reshape(len(inside), -1, HALVES)

    def anneal(self):
        for temperature in (*np.geomspace(HOTTEST, COLDEST, SWEEPS), 0.0):
            for phase in self._random.permutation(np.prod(self._sides)).tolist():
                self._try(*divmod(phase, self._sides[1]), temperature)

    def _try(self, top, left, temperature):
        """Try the same move with all halves of a phase: no two share a window."""
        ends = (
            side - 2 * around for side, around in zip(self._bits.shape, self._around, strict=True)
        )
        grid = np.mgrid[top : next(ends) : self._sides[0], left : next(ends) : self._sides[1]]
        y, x = (one.ravel() + around for one, around in zip(grid, self._around, strict=True))
        step = STEPS[self._random.integers(len(STEPS))]
        if any(step):
            other = y + step[0], x + step[1]
            may = (self._bits[y, x] != self._bits[other]) & self._inside[other]
            y, x = y[may], x[may]
        if not len(y):
            return
        sign = np.where(self._bits[y, x], -1, 1).astype(np.float32)[:, np.newaxis, np.newaxis]
        light_at = _windows(y, x, self._near, SCALE)
        light = self._light[light_at] + sign * self._footprints[step]
        near, far = _windows(y, x, self._near), _windows(y, x, self._around)
        shown = [self._reflected(light, coat) for coat in self._coats]
        seen = [
            before[far] + self._smear[0] @ (after - old[near]) @ self._smear[1].T
            for before, after, old in zip(self._seen, shown, self._shown, strict=True)
        ]
        cost = sum(self._wrong(after, far) - self._wrong(before[far], far)
                   for after, before in zip(seen, self._seen, strict=True)) / len(seen)  # fmt: skip
        cost += SHORT_RUN * self._short_runs_more(self._bits[near], step)
        chance = np.zeros(len(cost))
        if temperature:
            chance = np.exp(-np.maximum(cost, 0) / temperature)
        is_made = (cost < -1e-4) | (self._random.random(len(cost)) < chance)
        self._light[tuple(one[is_made] for one in light_at)] = light[is_made]
        for all_of, new in ((self._shown, shown), (self._seen, seen)):
            where = near if all_of is self._shown else far
            for old, after in zip(all_of, new, strict=True):
                old[tuple(one[is_made] for one in where)] = after[is_made]
        self._bits[y[is_made], x[is_made]] ^= True
        if any(step):
            self._bits[y[is_made] + step[0], x[is_made] + step[1]] ^= True

    def _short_runs_more(self, bits, step):
        after = bits.copy()
        for dy, dx in {(0, 0), step}:
            after[:, self._near[0] + dy, self._near[1] + dx] ^= True
        return _short_runs(after) - _short_runs(bits)

    def _wrong(self, seen, where):
        off = (lightness(np.maximum(seen, 0)) - self._held[where]) * self._inside[where]
        return (off**2).sum(axis=(1, 2)) / HALVES

    def _exposure(self, halves):
        rows, count = halves.shape
        dots = np.pad(halves, ((0, 0), (0, -count % HALVES))).reshape(rows, -1, HALVES)
        return self._truth.exposure(dots)[:, : count * SCALE[1]]

    def _reflected(self, light, coat):
        cells = self._truth.wiped(light * np.float32(coat))
        *many, rows, columns = cells.shape
        parts = cells.reshape(*many, rows // SCALE[0], SCALE[0], columns // SCALE[1], SCALE[1])
        return parts.mean(axis=(-3, -1))

    def _blurred(self, picture):
        down, along = self._eye
        return cv2.sepFilter2D(picture.astype(np.float32), -1, along, down)


def _gaussian(sigma):
    axis = np.arange(-60, 61)
    eye = np.exp(-0.5 * (axis / sigma) ** 2)
    return (eye / eye.sum())[eye > 0.01].astype(np.float32)


def _smear(far, near, eye):
    """The blur of a change of what is near, seen from around: shape (far, near)."""
    smear = np.zeros((far, near), dtype=np.float32)
    for place in range(near):
        smear[place : place + len(eye), place] = eye
    return smear


def _short_runs(bits):
    switches = bits[..., 1:] != bits[..., :-1]
    return (switches[..., 1:] & switches[..., :-1]).sum(axis=(1, 2))


def _windows(y, x, reach, scale=(1, 1)):
    rows, columns = (
        (at * by)[:, np.newaxis] + np.arange(-far * by, (far + 1) * by)
        for at, far, by in zip((y, x), reach, scale, strict=True)
    )
    return rows[:, :, np.newaxis], columns[:, np.newaxis, :]


@pytest.mark.parametrize(
    "name", ["practice: white tile", "practice: thick coat", "0.15 mm spacing",
             "thick coat, too little power"],
)  # fmt: skip
def test_what_the_tile_can_hold(name):
    truth = next(one for one in TRUTHS if one.name == name)
    cards = read_cards(truth)
    even = replace(truth, surface=replace(truth.surface, unevenness=0.0))
    print(f"\n{name}: best kernel by the card's dot, search, oracle; on an even coat")
    for photo in PHOTOGRAPHS:
        wanted = wanted_of(photo, 300)[PART].astype(np.float32)
        dots = [
            diffuse_evenly(tone_curve_of(cards.dot, kernel).apply(wanted), kernel)
            for kernel in KERNELS.values()
        ]
        dots.append(search_dots(wanted, cards.dot, spacing_mm=truth.spacing_mm))
        oracle = Oracle(wanted, truth, cards.black, dots[-1])
        oracle.anneal()
        dots.append(oracle.bits)
        errors = {
            which: [
                error(one.reflectance(bits, 1), wanted, cards.black, truth.spacing_mm)
                for bits in dots
            ]
            for which, one in (("coat", truth), ("even", even))
        }
        told = [f"{min(some[:-2]):.2f} {some[-2]:.2f} {some[-1]:.2f}" for some in errors.values()]
        print(f"{photo:<10} {told[0]};  {told[1]}", flush=True)
