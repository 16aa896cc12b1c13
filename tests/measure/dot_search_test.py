"""Dots from the test card against the kernels on invented surfaces. Prints tables and a picture.

The truth is the practice machine's tile, a law that the dot knows nothing of, at the speeds that
the motion model foresees; each kernel has the curve of a tone card of its own, the search the dot
of the first kernel's card.
With too little power on a thick coat little is won: single dots hardly darken there.
One surface by its name: `-k "little and power"`.
Cards are read with 0.003 of noise and lie elsewhere on the coat than the picture. Errors are L* at
350 mm (`etchphoto.dots.eye`), RMS. DOT_SEARCH_PICTURE=folder writes the pictures side by side.
"""

import os
import subprocess
import sys
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from PIL import Image

from etchpath.writer.dots import Order, write_job
from etchpath.writer.raster import parts_of, parts_per_dot
from etchphoto.dots.eye import seen
from etchphoto.dots.search import search_dots
from etchphoto.dots.speeds import Motion
from etchphoto.dots.switch_price import switch_price
from etchphoto.halftone import KERNELS, diffuse_evenly
from etchphoto.light import lightness, linear_to_srgb, luminance
from etchphoto.tone import ToneCurve
from etchpractice.tile.surface import Surface, surface_named
from etchproof.layout.border import Place
from etchproof.layout.card_request import CardRequest
from etchproof.layout.drawing import draw_card, patch_dots
from etchproof.layout.patch_core import core_of
from etchproof.layout.tone_card import lay_out_tone_card
from etchproof.model.tone_reading import read_dot, read_tone
from etchproof.reading.values import PatchReading, Reading
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_HEADS
from etchwire.catalogue.heads import Recipe

pytestmark = pytest.mark.measure

# scikit-image ships them: astronaut (NASA, public domain), camera (CC0), chelsea (CC0)
PHOTOGRAPHS = ("astronaut", "camera", "chelsea")
CELLS = 4  # to a dot, an even number
HEAD = PRACTICE_HEADS["practice-20w"]
FEED_MM_PER_MIN = 4000.0
NOISE = 0.003
EDGE_DOTS = 12


@dataclass(frozen=True, kw_only=True)
class Truth:
    """A surface, how strongly it is burnt, and by what spot."""

    name: str
    surface: Surface
    power_ratio: float
    spot_mm: float = 0.08
    spacing_mm: float = 0.1

    def reflectance(self, bits, seed, ratios=(1.0, 1.0)):
        """Each dot's mean reflectance beside bare tile; `seed` chooses the place on the coat.

        `ratios` are the shares of speed and power at which dots are really run.
        """
        rows, columns = bits.shape[:2]
        light = self.exposure(bits, ratios)
        light *= self._coat(light.shape, self.spacing_mm / CELLS, seed)
        return self.wiped(light).reshape(rows, CELLS, columns, CELLS).mean(axis=(1, 3))

    def wiped(self, light):
        """The reflectance beside bare tile of cells that got this light."""
        return self.surface.wiped(light) / self.surface.tile_reflectance

    def exposure(self, bits, ratios=(1.0, 1.0)):
        """What each cell gets, J/mm² at the reference power, on an even coat."""
        speeds, powers = ratios
        rows, columns = bits.shape[:2]
        cell_mm = self.spacing_mm / CELLS
        light = np.zeros((rows * CELLS, columns * CELLS), dtype=np.float32)
        for middle in (CELLS // 2 - 1, CELLS // 2):  # a row runs between two rows of cells
            worth = bits * np.float32(CELLS / 2) * powers**self.surface.exponent / speeds
            light[middle::CELLS] = parts_of(worth).repeat(CELLS // parts_per_dot(bits), axis=1)
        spread_mm = np.hypot(self.spot_mm / np.sqrt(12), self.surface.heat_spread_mm)
        light = cv2.GaussianBlur(
            light, (0, 0), float(spread_mm / cell_mm), borderType=cv2.BORDER_CONSTANT
        )
        power_w = np.array(HEAD.rated_optical_w * self.power_ratio)
        full_w = float(self.surface.effective_w(power_w))
        return light * np.float32(full_w * 60 / (FEED_MM_PER_MIN * self.spacing_mm))

    def _coat(self, shape, cell_mm, seed):
        nodes = np.random.default_rng(seed).standard_normal((256, 256)).astype(np.float32)
        y, x = (
            np.arange(side, dtype=np.float32) * cell_mm / self.surface.unevenness_scale_mm % 255
            for side in shape
        )
        uneven = cv2.remap(
            nodes,
            np.broadcast_to(x, shape).copy(),
            np.broadcast_to(y[:, np.newaxis], shape).copy(),
            cv2.INTER_LINEAR,
        )
        return np.maximum(1 + self.surface.unevenness * uneven, 0.1)

    def etched(self, bits):
        """The same of a picture, at the speeds at which its dots are run."""
        return self.reflectance(bits, 1, Motion(HEAD, self.recipe).ratios(bits))

    @property
    def recipe(self):
        return Recipe(
            surface=self.name,
            feed_mm_per_min=FEED_MM_PER_MIN,
            power_ratio=self.power_ratio,
            line_spacing_mm=self.spacing_mm,
        )


WHITE, THIN, THICK, QUICK = (
    surface_named(name) for name in ("white-tile", "thin-coat", "thick-coat", "quick-paint")
)
SOFT = replace(WHITE, threshold_j_per_mm2=0.1, saturation_j_per_mm2=1.9)
NOISY = replace(WHITE, unevenness=0.10)
COARSE = replace(THICK, threshold_j_per_mm2=0.9, saturation_j_per_mm2=1.8, heat_spread_mm=0.06)
TRUTHS = (
    Truth(name="practice: white tile", surface=WHITE, power_ratio=0.60),
    Truth(name="practice: thin coat", surface=THIN, power_ratio=0.66),
    Truth(name="practice: thick coat", surface=THICK, power_ratio=0.80),
    Truth(name="practice: quick paint", surface=QUICK, power_ratio=0.42),
    Truth(name="wide spot", surface=WHITE, power_ratio=0.60, spot_mm=0.16),
    Truth(name="thick coat, more heat", surface=COARSE, power_ratio=0.70),
    Truth(name="soft threshold", surface=SOFT, power_ratio=0.70),
    Truth(name="noisy coat", surface=NOISY, power_ratio=0.60),
    Truth(name="0.15 mm spacing", surface=WHITE, power_ratio=0.69, spacing_mm=0.15),
    Truth(name="thick coat, too little power", surface=THICK, power_ratio=0.63),
)


@dataclass(frozen=True)
class Cards:
    """What the tone cards of one truth told."""

    curves: dict[str, ToneCurve]
    dot: Dot
    black: float


def read_cards(truth):
    """Read a tone card for each kernel; the dot is told by Jarvis's."""
    curves = {}
    for number, kernel in enumerate(KERNELS):
        request = CardRequest(
            number=number + 1, head=HEAD, surface=truth.name, place=Place(200.0, 200.0),
            line_spacing_mm=truth.spacing_mm, halftone=kernel,
        )  # fmt: skip
        card = lay_out_tone_card(request, truth.recipe)
        reading = reading_of(card, truth, np.random.default_rng(number))
        curves[kernel] = read_tone(card, reading).curve
        if kernel == "jarvis":
            dot = read_dot(card, reading)
    solid = truth.reflectance(np.ones((300, 300), dtype=bool), seed=1)
    return Cards(curves, dot, float(solid[20:-20, 20:-20].mean()))


def reading_of(card, truth, random):
    patches, run = [], Motion(HEAD, truth.recipe).ratios(draw_card(card))
    for number, patch in enumerate(card.patches):
        core = core_of(patch.area)
        bits = np.pad(patch_dots(patch, card.halftone), 8)
        is_lit = bits[8:-8, 8:-8]
        ratios = [1.0, 1.0]
        if is_lit.any():
            ratios = [one[patch.area.rows, patch.area.columns][is_lit].mean() for one in run]
        shown = truth.reflectance(bits, 100 * card.number + number, ratios)
        top, left = core.top - patch.area.top + 8, core.left - patch.area.left + 8
        shown = shown[top : top + core.height, left : left + core.width]
        side = max(1, round(0.5 / truth.spacing_mm))
        cells = cv2.resize(
            shown, (core.width // side, core.height // side), interpolation=cv2.INTER_AREA
        )
        patches.append(
            PatchReading(
                cell=patch.cell,
                part=patch.part,
                reflectance=float(shown.mean() + random.normal(0, NOISE)),
                lightness=0.0,
                unevenness=float(np.std(lightness(cells))),
                photos=1,
            )
        )
    return Reading(card_number=card.number, kind=card.kind, photos=(), patches=tuple(patches))


def wanted_of(name, side=500):
    """A photograph as the darkness wanted of `side` × `side` dots."""
    light = luminance(getattr(skimage.data, name)())
    square = min(light.shape)
    light = light[:square, -square:] if name == "chelsea" else light[:square, :square]
    resized = cv2.resize(light, (side, side), interpolation=cv2.INTER_AREA)
    return 1 - np.clip(resized, 0, 1)


def error(shown, wanted, black, spacing_mm):
    off = lightness(seen(shown, spacing_mm)) - lightness(seen(1 - (1 - black) * wanted, spacing_mm))
    inside = slice(EDGE_DOTS, -EDGE_DOTS)
    return float(np.sqrt(np.mean(off[inside, inside] ** 2)))


def searched(wanted, truth, cards):
    return search_dots(
        wanted,
        cards.dot,
        spacing_mm=truth.spacing_mm,
        motion=Motion(HEAD, truth.recipe),
        switch_price=switch_price(HEAD, truth.recipe),
    )


def job_of(bits, truth):
    """The sheet of a job of these dots."""
    order = Order(title="dots", head=HEAD, recipe=truth.recipe, halftone="any")
    return write_job(bits, BytesIO(), order)


@pytest.mark.parametrize("truth", TRUTHS, ids=lambda truth: truth.name)
def test_error_time_and_file_beside_each_kernels(truth):
    print(f"\n{truth.name:<29} {'jarvis':>7} {'f-s':>6} {'stucki':>6} {'search':>6}"
          f" {'better':>7} {'time':>7} {'G-code':>7}")  # fmt: skip
    cards = read_cards(truth)
    for photo in PHOTOGRAPHS:
        wanted = wanted_of(photo)
        dots = {
            name: diffuse_evenly(cards.curves[name].apply(wanted), kernel)
            for name, kernel in KERNELS.items()
        }
        dots["search"] = searched(wanted, truth, cards)
        errors = {
            name: error(truth.etched(bits), wanted, cards.black, truth.spacing_mm)
            for name, bits in dots.items()
        }
        best = min(errors[name] for name in KERNELS)
        theirs, ours = (job_of(dots[name], truth) for name in ("floyd-steinberg", "search"))
        print(
            f"{photo:<29} {errors['jarvis']:>7.2f}"
            f" {errors['floyd-steinberg']:>6.2f} {errors['stucki']:>6.2f}"
            f" {errors['search']:>6.2f} {100 * (1 - errors['search'] / best):>6.1f}%"
            f" {100 * (ours.predicted_s / theirs.predicted_s - 1):>6.1f}%"
            f" {100 * (ours.gcode_bytes / theirs.gcode_bytes - 1):>6.1f}%",
            flush=True,
        )
    dot = cards.dot
    print(f"spread {dot.spread_dots:.2f} dots, unevenness {dot.unevenness:.3f} (the coat's"
          f" {truth.surface.unevenness:.2f}), fit {dot.fit_error:.4f}")  # fmt: skip


COST = """
import sys
import numpy as np
from etchphoto.dots.search import search_dots
from etchwire.catalogue.dot import Dot
wanted = np.load(sys.argv[1])
dot = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06, unevenness=0.04)
search_dots(wanted, dot, spacing_mm=0.1)
"""
# A process inherits the peak of the one that started it, so a small one starts each search.
LAUNCHER = """
import os, sys
process = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ)
_, status, used = os.wait4(process, 0)
print(used.ru_utime + used.ru_stime, used.ru_maxrss)
sys.exit(os.waitstatus_to_exitcode(status))
"""


def test_processor_and_memory_of_a_search(tmp_path):
    print(f"\n{'dots':<12} {'processor s':>12} {'peak MB':>8} {'µs a dot':>9}")
    for side in (250, 500, 1000):
        file = tmp_path / f"{side}.npy"
        np.save(file, wanted_of("astronaut", side))
        program = tmp_path / "cost.py"
        program.write_text(COST)
        searching = [sys.executable, str(program), str(file)]
        launched = [sys.executable, "-S", "-c", LAUNCHER, *searching]
        answer = subprocess.run(launched, stdout=subprocess.PIPE, text=True, check=True).stdout
        processor_s, peak_kib = map(float, answer.split())
        print(f"{side}²{'':<8} {processor_s:>12.1f} {peak_kib * 1024 / 1e6:>8.0f}"
              f" {processor_s / side**2 * 1e6:>9.1f}")  # fmt: skip


# Parts of the astronaut at 500 × 500 dots and of the camera: face, hair and sky.
PARTS = {
    "face": ("astronaut", slice(60, 190), slice(160, 290)),
    "hair": ("astronaut", slice(20, 150), slice(110, 240)),
    "sky": ("camera", slice(0, 130), slice(300, 430)),
}
PX_PER_DOT = 3


def judged(looks, ideal):
    """Grain in L*; by how much edges are as steep as the ideal's (1 is as steep), and correlated.

    Grain is what trembles within 0.6 mm, edges what lies between 0.1 and 0.4 mm.
    """
    inside = slice(EDGE_DOTS, -EDGE_DOTS)
    off = (looks - ideal).astype(np.float32)
    grain = (off - cv2.GaussianBlur(off, (0, 0), 6))[inside, inside].std()
    edges, meant = (
        (cv2.GaussianBlur(one, (0, 0), 1) - cv2.GaussianBlur(one, (0, 0), 4))[inside, inside]
        for one in (looks.astype(np.float32), ideal.astype(np.float32))
    )
    steep = (edges * meant).sum() / (meant**2).sum()
    return grain, steep, np.corrcoef(edges.ravel(), meant.ravel())[0, 1]


def test_ideal_kernels_and_search_side_by_side():
    folder = os.environ.get("DOT_SEARCH_PICTURE")
    if folder is None:
        pytest.skip("say where the picture shall go: DOT_SEARCH_PICTURE=folder")
    truth = TRUTHS[int(os.environ.get("DOT_SEARCH_SURFACE", "0"))]
    cards = read_cards(truth)
    rows = []
    for photo, part_rows, part_columns in PARTS.values():
        wanted = wanted_of(photo)
        shown = [1 - (1 - cards.black) * wanted]
        for name in KERNELS:
            bits = diffuse_evenly(cards.curves[name].apply(wanted), KERNELS[name])
            shown.append(truth.etched(bits))
        shown.append(truth.etched(searched(wanted, truth, cards)))
        rows.append(np.hstack([one[part_rows, part_columns] for one in shown]))
        looks = [lightness(seen(one, truth.spacing_mm))[part_rows, part_columns] for one in shown]
        print(f"\n{photo}, {', '.join(KERNELS)}, search: grain, edges beside the ideal's")
        print(" ".join("{:.2f} L* {:.2f} ({:.2f});".format(*judged(one, looks[0]))
                       for one in looks[1:]))  # fmt: skip
    for name, tiles in (
        ("dots", np.vstack(rows)),
        ("seen", np.vstack([seen(row, truth.spacing_mm) for row in rows])),
    ):
        codes = np.rint(linear_to_srgb(np.clip(tiles, 0, 1)) * 255).astype(np.uint8)
        size = codes.shape[1] * PX_PER_DOT, codes.shape[0] * PX_PER_DOT
        file = Path(folder) / f"{truth.name.replace(': ', '-').replace(' ', '-')}-{name}.png"
        Image.fromarray(codes).resize(size, Image.Resampling.NEAREST).save(file)
        print(f"\nideal, {', '.join(KERNELS)}, search; face, hair, sky: {file}")
