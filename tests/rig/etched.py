"""A job etched on the rig, seen beside its promise: what is compared dot by dot and from afar."""

from contextlib import contextmanager

import cv2
import numpy as np
from PIL import Image

from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import prepare_job
from etchpractice.machine import PracticeMachine
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import PICTURE_NAME, read_sheet
from rig.bench import Rig

HEAD = PRACTICE_HEADS["practice-20w"]
RECIPE = PRACTICE_RECIPES["practice-20w"]
_CIE_KNEE, _CIE_SLOPE = 216 / 24389, 24389 / 27  # L* of CIE 15:2018
STEP_S = 0.016  # what a buffer of a kilobyte holds lasts longer
_BLEND_DOTS = 3.0  # 0.3 mm: what the eye blends from about a metre, one minute of arc


class Etched:
    """What a finished run left: the sheet, the promise, the tile and the record."""

    def __init__(self, rig, folder):
        self.sheet = read_sheet(folder)
        self.tile, self.record, self.run = rig.machine.tile, rig.record, rig.run
        self.promised = _dots(folder / PICTURE_NAME, self.sheet.columns)

    def frame(self, margin_mm=0.0):
        """Return the picture's rectangle on the bed, grown by a margin."""
        picture = self.sheet.picture
        return (
            picture.left_mm - margin_mm, picture.bottom_mm - margin_mm,
            picture.right_mm + margin_mm, picture.top_mm + margin_mm,
        )  # fmt: skip

    def middles(self):
        """Return the reflectance at the middle fiftieth of a millimetre of every dot's place."""
        return self.tile.reflectance(rectangle=self.frame(), mm_per_px=0.02)[2::5, 2::5]

    def coverage(self):
        """Return how much of every dot's place is fired, by what it reflects."""
        surface = self.tile.surface
        white, black = surface.tile_reflectance, surface.fired_reflectance
        return (white - self.tile.reflectance(rectangle=self.frame(), mm_per_px=0.1)) / (
            white - black
        )

    def lightness(self, coverage):
        """Return L* of this tile where so much of it is fired (Murray and Davies's mixture)."""
        surface = self.tile.surface
        light = surface.tile_reflectance + coverage * (
            surface.fired_reflectance - surface.tile_reflectance
        )
        return np.where(light > _CIE_KNEE, 116 * np.cbrt(light) - 16, _CIE_SLOPE * light)


@contextmanager
def photo_etched(photo, folder, *, width_mm):
    """Take a photo all the way and give what came of it.

    The controller takes in the finest detail: on the 8-bit one dots in which the head slows down
    come out up to a tenth weaker, for a segment's power is that of the speed at its end.
    """
    order = PhotoOrder(head=HEAD, recipe=RECIPE, width_mm=width_mm)
    sheet = prepare_job(photo, order, folder=folder / "photo-job")
    with Rig(folder, PracticeMachine(firmware="32-bit")) as rig:
        rig.step_s = STEP_S
        rig.start(folder / "photo-job")
        rig.wait_for_the_end(within_s=1.3 * sheet.predicted_s + 30)
        yield Etched(rig, folder / "photo-job")


def seen_from_afar(dots):
    """Return `dots` blended as the eye does."""
    return cv2.GaussianBlur(dots.astype(np.float64), (0, 0), _BLEND_DOTS)


def grown(dots):
    """Return the dots and all their neighbours."""
    return cv2.dilate(dots.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)


def _dots(picture, columns):
    """Return the dots of a promise, True where it is black: shape (rows, columns)."""
    with Image.open(picture) as promise:
        grey = np.asarray(promise.convert("L"))
    scale = grey.shape[1] // columns
    return grey[scale // 2 :: scale, scale // 2 :: scale] < 128
