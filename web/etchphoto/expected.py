"""The tile as promised: every dot burnt, drawn in the tile's two colours."""

from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from etchphoto.light import linear_to_srgb, srgb_to_linear

TILE_WHITE: Final = (244, 242, 236)  # glazed white under ordinary light
FIRED_BLACK: Final = (38, 35, 33)
QUICK_COMPRESSION: Final = 3  # dots hardly compress any better
LONGEST_SIDE_PX: Final = 2000
MOST_PX_PER_DOT: Final = 4
LEAST_PX_PER_DOT: Final = 2

Bits = NDArray[np.bool_]


def save_expected(bits: Bits, path: Path) -> None:
    """Save the tile with every dot of `bits` (True = burnt) as a square of 2 to 4 pixels.

    The picture has two colours and one bit a pixel, which keeps it small and quick.
    """
    fitting = LONGEST_SIDE_PX // max(bits.shape)
    scale = min(MOST_PX_PER_DOT, max(LEAST_PX_PER_DOT, fitting))
    image = Image.fromarray(bits.view(np.uint8).repeat(scale, axis=0).repeat(scale, axis=1))
    image.putpalette((*TILE_WHITE, *FIRED_BLACK))
    image.save(path, format="PNG", bits=1, compress_level=QUICK_COMPRESSION)


def draw_preview(bits: Bits, longest_side_px: int) -> Image.Image:
    """Return the tile as it looks from where single dots blend, no larger than asked for.

    Dots blend as light, not as picture codes: a screen that shrinks the dots themselves shows
    the tile too dark.
    """
    rows, columns = bits.shape
    scale = min(1.0, longest_side_px / max(rows, columns))
    size = max(1, round(columns * scale)), max(1, round(rows * scale))
    burnt = Image.fromarray(bits.astype(np.float32))
    share = np.asarray(burnt.resize(size, Image.Resampling.BOX))[..., np.newaxis]
    white, black = _light(TILE_WHITE), _light(FIRED_BLACK)
    codes = linear_to_srgb(white + share * (black - white)) * 255
    return Image.fromarray(np.rint(codes).astype(np.uint8))


def _light(colour: tuple[int, int, int]) -> NDArray[np.floating[Any]]:
    return srgb_to_linear(np.array(colour) / 255)
