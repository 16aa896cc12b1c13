"""The tile as promised: every dot drawn as dark as the tone card showed dots to be.

The card's dot gives each its darkness by its neighbours and by how fast it is run. Where no tone
card was read nobody knows the dot, and each is drawn as the square that was asked for, in two
colours. Dots given in parts (`etchpath.writer.raster`) are drawn whole, as dark as their parts
are on average.
"""

from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from etchpath.writer.raster import Bits, parts_per_dot
from etchphoto.dots.speeds import Motion
from etchphoto.light import linear_to_srgb, srgb_to_linear
from etchwire.catalogue.dot import MOST_SPREAD_DOTS, Dot

TILE_WHITE: Final = (233, 231, 225)  # a glazed white that reflects 80 %, as the practice tile does
FIRED_BLACK: Final = (38, 35, 33)  # where no card has shown how black it gets
QUICK_COMPRESSION: Final = 3  # dots hardly compress any better
LONGEST_SIDE_PX: Final = 2000
MOST_PX_PER_DOT: Final = 4
LEAST_PX_PER_DOT: Final = 2
_ROWS_AT_ONCE: Final = 64  # a dot's light is looked at in nine places, in 32 bits
_MARGIN_DOTS: Final = round(9 * MOST_SPREAD_DOTS)  # further off no dot has a part in it

Light = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class DotLook:
    """How dots look: by the dot that a tone card showed, and by how fast they are run."""

    dot: Dot
    motion: Motion | None = None

    def darkness(self, bits: Bits, rows: slice = slice(None)) -> NDArray[np.float32]:
        """Return the darkness of the dots of `rows`, 0 bare to 1 solid: shape (rows, columns)."""
        from etchphoto.dots.rendering import darkness  # noqa: PLC0415  brings OpenCV

        first, end, _ = rows.indices(len(bits))
        top = max(0, first - _MARGIN_DOTS)
        near = slice(top, end + _MARGIN_DOTS)
        light = None if self.motion is None else self.motion.light(bits, self.dot, near)
        dark = darkness(bits[near], self.dot, light)[first - top : end - top]
        return np.clip(dark, 0, 1)


def save_expected(bits: Bits, path: Path, look: DotLook | None = None) -> None:
    """Save the tile with every dot of `bits` (True = burnt) as a square of 2 to 4 pixels."""
    save_dots(bits, path, _px_per_dot(bits), look)


def shows_dots(path: Path, bits: Bits, look: DotLook | None = None) -> bool:
    """Return whether the picture at `path` is the one that `save_expected` saves of `bits`."""
    saved = BytesIO()
    save_dots(bits, saved, _px_per_dot(bits), look)
    with Image.open(path) as there, Image.open(saved) as new:
        return np.array_equal(np.asarray(there), np.asarray(new))


def _px_per_dot(bits: Bits) -> int:
    fitting: int = LONGEST_SIDE_PX // max(bits.shape[:2])
    return min(MOST_PX_PER_DOT, max(LEAST_PX_PER_DOT, fitting))


def save_dots(
    bits: Bits,
    path: Path | BytesIO,
    px_per_dot: int,
    look: DotLook | None = None,
    *,
    bits_a_px: int = 8,
) -> None:
    """Save every dot of `bits` (True = burnt) as a square; without a look, in one bit a pixel.

    With one, 4 `bits_a_px` are enough to compare by eye, at a third of the bytes.
    """
    steps = _steps(bits, look, bits_a_px)
    shades = _shades(bits, look, steps)
    image = Image.fromarray(shades.repeat(px_per_dot, axis=0).repeat(px_per_dot, axis=1))
    share = np.linspace(0, 1, steps + 1)[:, np.newaxis]
    image.putpalette(_codes(_light(share, look)).ravel().tolist())
    image.save(path, format="PNG", compress_level=QUICK_COMPRESSION, bits=steps.bit_length())


def draw_preview(bits: Bits, longest_side_px: int, look: DotLook | None = None) -> Image.Image:
    """Return the tile as it looks from where single dots blend, no larger than asked for.

    Dots blend as light, not as picture codes: a screen that shrinks the dots themselves shows
    the tile too dark.
    """
    rows, columns = bits.shape[:2]
    scale = min(1.0, longest_side_px / max(rows, columns))
    size = max(1, round(columns * scale)), max(1, round(rows * scale))
    steps = _steps(bits, look)
    burnt = _shades(bits, look, steps) / np.float32(steps)
    share = np.asarray(Image.fromarray(burnt).resize(size, Image.Resampling.BOX))
    return Image.fromarray(_codes(_light(share[..., np.newaxis], look)))


def _steps(bits: Bits, look: DotLook | None, bits_a_px: int = 8) -> int:
    """Return how many shades there are beside white: without a look, as many as a dot has parts."""
    return parts_per_dot(bits) if look is None else 2**bits_a_px - 1


def _shades(bits: Bits, look: DotLook | None, steps: int) -> NDArray[np.uint8]:
    """Return the darkness of each dot, 0 to `steps`: shape (rows, columns)."""
    if look is None:
        return bits.view(np.uint8) if bits.ndim == 2 else bits.sum(axis=2, dtype=np.uint8)
    shades = np.empty(bits.shape[:2], dtype=np.uint8)
    for first in range(0, len(bits), _ROWS_AT_ONCE):  # bounds the memory
        rows = slice(first, first + _ROWS_AT_ONCE)
        shades[rows] = np.rint(look.darkness(bits, rows) * steps)
    return shades


def _light(share: Light, look: DotLook | None) -> Light:
    """Return the light, shape (..., 3), of places of which this share looks burnt."""
    white = srgb_to_linear(np.array(TILE_WHITE) / 255)
    black = srgb_to_linear(np.array(FIRED_BLACK) / 255) if look is None else white * look.dot.black
    return np.asarray(white + share * (black - white))


def _codes(light: Light) -> NDArray[np.uint8]:
    return np.rint(linear_to_srgb(light) * 255).astype(np.uint8)
