"""How little any dots can leave wrong, where the search wins little: an oracle. Prints a table.

`pytest -m measure tests/measure/dots_floor_test.py -s`, minutes for each surface. The oracle knows
what nobody knows: the practice surface's own law, without a card. It starts from searched dots and
anneals them, one toggle or swap after another judged by what all cells around then reflect and
by L* itself, not by a table and a slope. The head runs at an even speed. What it ends at on the
real coat (of which it knows by how much it varies, and not where) is what the tile can hold: a gain
below that cannot be had by any dots.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from etchphoto.dots.eye import sharp_sigma_dots
from etchphoto.dots.search import search_dots
from etchphoto.dots.tone_curve import tone_curve_of
from etchphoto.halftone import KERNELS, diffuse_evenly
from etchphoto.light import lightness
from measure.dot_search_test import CELLS, PHOTOGRAPHS, TRUTHS, error, read_cards, wanted_of

pytestmark = pytest.mark.measure

PART = slice(60, 160), slice(100, 200)  # of 300 × 300 dots
REACH = 3  # dots beyond which the light of one is nothing
SWEEPS, HOTTEST, COLDEST = 40, 50.0, 0.5  # L*², summed over the dots that a move changes
STEPS = tuple((y, x) for y in (-1, 0, 1) for x in (-1, 0, 1))  # (0, 0) is a toggle


class Oracle:
    """Dots on a surface that is known wholly, in a margin that is not looked at."""

    def __init__(self, wanted, truth, black, start, seed=1):
        self._random = np.random.default_rng(seed)
        self._truth, self._black = truth, black
        axis = np.arange(-3 * 9, 3 * 9 + 1)
        eye = np.exp(-0.5 * (axis / sharp_sigma_dots(truth.spacing_mm)) ** 2)
        self._eye = (eye / eye.sum())[eye / eye.max() > 0.01].astype(np.float32)
        self._around = REACH + 1 + len(self._eye) // 2
        self._side = 2 * self._around + 1
        alone = np.zeros((2 * REACH + 3, 2 * REACH + 3), dtype=bool)
        alone[REACH + 1, REACH + 1] = True
        footprint = truth.exposure(alone)
        self._footprints = {
            step: footprint
            - (np.roll(footprint, np.multiply(step, CELLS), (0, 1)) if any(step) else 0)
            for step in STEPS
        }
        uneven = truth.surface.unevenness
        self._coats = sorted({1 - uneven, 1 + uneven})
        self._bits = np.pad(start, self._around)
        self._inside = np.pad(np.ones_like(start), self._around)
        self._light = truth.exposure(self._bits)
        self._shown = [self._reflected(self._light, coat) for coat in self._coats]
        self._seen = [self._blurred(one) for one in self._shown]
        held = np.pad(1 - (1 - black) * wanted, self._around, constant_values=1)
        self._held = lightness(self._blurred(held))
        self._smear = self._blur_of_windows()

    @property
    def bits(self):
        inside = slice(self._around, -self._around)
        return self._bits[inside, inside].copy()

    def anneal(self):
        for temperature in (*np.geomspace(HOTTEST, COLDEST, SWEEPS), 0.0):
            for phase in self._random.permutation(self._side**2).tolist():
                self._try(*divmod(phase, self._side), temperature)

    def _try(self, top, left, temperature):
        """Try the same move with all dots of a phase: no two share a window."""
        rows, columns = (side - 2 * self._around for side in self._bits.shape)
        y, x = (
            one.ravel() + self._around
            for one in np.mgrid[top : rows : self._side, left : columns : self._side]
        )
        step = STEPS[self._random.integers(len(STEPS))]
        if any(step):
            other = y + step[0], x + step[1]
            may = (self._bits[y, x] != self._bits[other]) & self._inside[other]
            y, x = y[may], x[may]
        if not len(y):
            return
        sign = np.where(self._bits[y, x], -1, 1).astype(np.float32)[:, np.newaxis, np.newaxis]
        light_at = self._windows(y, x, REACH + 1, CELLS)
        light = self._light[light_at] + sign * self._footprints[step]
        near, far = self._windows(y, x, REACH + 1), self._windows(y, x, self._around)
        shown = [self._reflected(light, coat) for coat in self._coats]
        seen = [
            before[far] + self._smear @ (after - old[near]) @ self._smear.T
            for before, after, old in zip(self._seen, shown, self._shown, strict=True)
        ]
        cost = sum(self._wrong(after, far) - self._wrong(before[far], far)
                   for after, before in zip(seen, self._seen, strict=True)) / len(seen)  # fmt: skip
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

    def _wrong(self, seen, where):
        off = (lightness(np.maximum(seen, 0)) - self._held[where]) * self._inside[where]
        return (off**2).sum(axis=(1, 2))

    def _reflected(self, light, coat):
        cells = self._truth.wiped(light * np.float32(coat))
        *many, rows, columns = cells.shape
        parts = cells.reshape(*many, rows // CELLS, CELLS, columns // CELLS, CELLS)
        return parts.mean(axis=(-3, -1))

    def _blurred(self, picture):
        eye = self._eye
        return cv2.sepFilter2D(picture.astype(np.float32), -1, eye, eye)

    def _blur_of_windows(self):
        """The blur of a change of the near dots, seen at the far ones: shape (far, near)."""
        reach = len(self._eye) // 2
        smear = np.zeros((self._side, 2 * REACH + 3), dtype=np.float32)
        for near in range(smear.shape[1]):
            smear[near : near + 2 * reach + 1, near] = self._eye
        return smear

    @staticmethod
    def _windows(y, x, reach, scale=1):
        off = np.arange(-reach * scale, (reach + 1) * scale)
        rows = (y * scale)[:, np.newaxis] + off
        columns = (x * scale)[:, np.newaxis] + off
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
