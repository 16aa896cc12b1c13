"""A picture being painted by code, in linear light, in a square whose sides are 1.

x runs to the right and y down. Everything is an array over the pixels of one part of it.
"""

from dataclasses import dataclass
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from etchphoto.light import linear_to_srgb

Floats = NDArray[np.floating[Any]]
Points = list[tuple[float, float]]
Colour = tuple[float, float, float]

_FINER: Final = 3  # shapes are drawn this much larger, so that their edges come out smooth


@dataclass(frozen=True, slots=True)
class Canvas:
    """A part of the picture: where its pixels lie, (1, columns) and (rows, 1), and their light."""

    side_px: int
    x: Floats
    y: Floats
    light: Floats

    @classmethod
    def blank(cls, side_px: int) -> Self:
        """Return the whole square, black."""
        middle = ((np.arange(side_px) + 0.5) / side_px).astype(np.float32)
        light = np.zeros((side_px, side_px, 3), dtype=np.float32)
        return cls(side_px, middle[np.newaxis, :], middle[:, np.newaxis], light)

    def part(self, left: float, top: float, right: float, bottom: float) -> Self:
        """Return a window into this canvas: what is painted there is painted here."""
        across = slice(*np.searchsorted(self.x[0], (left, right)))
        down = slice(*np.searchsorted(self.y[:, 0], (top, bottom)))
        return type(self)(self.side_px, self.x[:, across], self.y[down], self.light[down, across])

    def cover(self, colour: Colour | Floats, share: Floats) -> None:
        """Paint over, opaque where `share` is 1."""
        self.light[:] += share[..., np.newaxis] * (np.asarray(colour, np.float32) - self.light)

    def add(self, colour: Colour, amount: Floats) -> None:
        """Let light fall on what is there."""
        self.light[:] += amount[..., np.newaxis] * np.asarray(colour, np.float32)

    def image(self) -> Image.Image:
        """Return what is painted as an RGB image."""
        codes = linear_to_srgb(np.clip(self.light, 0, 1)) * 255
        return Image.fromarray(np.rint(codes).astype(np.uint8))

    def shape(self, *outlines: Points) -> Floats:
        """Return the share of each pixel that lies inside one of the outlines."""
        rows, columns = self.light.shape[:2]
        large = Image.new("L", (columns * _FINER, rows * _FINER))
        pencil = ImageDraw.Draw(large)
        corner = (self.x[0, 0] - 0.5 / self.side_px, self.y[0, 0] - 0.5 / self.side_px)
        scale = self.side_px * _FINER
        for outline in outlines:
            points = [((x - corner[0]) * scale, (y - corner[1]) * scale) for x, y in outline]
            pencil.polygon(points, fill=255)
        share = large.resize((columns, rows), Image.Resampling.BOX)
        return np.asarray(share, dtype=np.float32) / np.float32(255)

    def noise(self, across: float, down: float, *, octaves: int, seed: int) -> Floats:
        """Return smooth noise, mean 0 and spread 1, with so many bumps across and down."""
        random = np.random.default_rng(seed)
        rows, columns = self.light.shape[:2]
        total = np.zeros((rows, columns), dtype=np.float32)
        for octave in range(octaves):
            cells = (int(down * 2**octave) + 3, int(across * 2**octave) + 3)
            grid = Image.fromarray(random.standard_normal(cells).astype(np.float32))
            total += np.asarray(grid.resize((columns, rows), Image.Resampling.BICUBIC)) / 2**octave
        return np.asarray((total - total.mean()) / total.std())


def step(values: Floats, low: float, high: float) -> Floats:
    """Return 0 below `low`, 1 above `high`, and a smooth rise between."""
    share = np.clip((values - low) / (high - low), 0, 1)
    return np.asarray(share * share * (3 - 2 * share))


def bump(values: Floats, width: float | Floats) -> Floats:
    """Return 1 at zero, falling off like a bell on both sides."""
    return np.asarray(np.exp(-np.square(values / width)))
