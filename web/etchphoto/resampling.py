"""Resampling: the photo's pixels to one luminance per dot, in linear light, in one step.

Averaging picture codes would make fine detail too dark: half black and half white is code 188,
not 127. Only a JPEG above 16 megapixels is first made smaller by its own decoder, which does
average codes, by so little that each dot still has a pixel of its own.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from typing import IO, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from etchphoto.decoder.decoding import DecodedPicture
from etchphoto.decoder.loading import BYTES_OF_LIGHT, LoadedPhoto
from etchphoto.decoder.process import Decoded
from etchphoto.framing import Crop, Frame
from etchphoto.light import LUMINANCE_WEIGHTS, Weights

STRIP_PIXELS: Final = 500_000  # of the photo, or of dots, at a time: 2 MB in floats
_WIDEST_SUPPORT: Final = 3  # source pixels beyond a strip that its edge dots look at, per scale

Progress = Callable[[float], None]


def luminance_per_dot(
    photo: LoadedPhoto,
    frame: Frame,
    on_progress: Progress = lambda _: None,
    weights: Weights = LUMINANCE_WEIGHTS,
) -> NDArray[np.float32]:
    """Return the luminance, 0 to 1, of each dot of `frame`: shape (rows, columns), top row first.

    `weights` are those of red, green and blue. Raise PhotoDamaged for a file that ends too early.
    """
    (light,) = luminances_per_dot(photo, frame, (weights,), on_progress)
    return light


def luminances_per_dot(
    photo: LoadedPhoto,
    frame: Frame,
    mixes: Sequence[Weights],
    on_progress: Progress = lambda _: None,
) -> list[NDArray[np.float32]]:
    """Return for each of `mixes` what `luminance_per_dot` gives; the photo is decoded once."""
    columns, rows = photo.orientation.swapped((frame.columns, frame.rows))
    with _decoded(photo, frame, mixes, result_rows=rows * len(mixes)) as decoded:
        stored = decoded.read((rows * len(mixes), columns), np.float32, on_progress)
    np.clip(stored, 0, 1, out=stored)
    return [
        np.ascontiguousarray(photo.orientation.upright(one)) for one in np.split(stored, len(mixes))
    ]


def luminance_on_disk(
    photo: LoadedPhoto, frame: Frame, file: IO[bytes], weights: Weights = LUMINANCE_WEIGHTS
) -> NDArray[np.float32]:
    """Return what `luminance_per_dot` gives, kept in `file` and not in memory.

    Raise OSError for a disk that is full.
    """
    columns, rows = photo.orientation.swapped((frame.columns, frame.rows))
    at_once = max(1, STRIP_PIXELS // columns)
    with _decoded(photo, frame, (weights,), result_rows=at_once) as decoded:
        for first in range(0, rows, at_once):
            strip = decoded.read((min(at_once, rows - first), columns), np.float32)
            file.write(np.clip(strip, 0, 1, out=strip).data)
    file.flush()
    stored = np.memmap(file, np.float32, "r", shape=(rows, columns))
    return photo.orientation.upright(stored)


def _decoded(
    photo: LoadedPhoto, frame: Frame, mixes: Sequence[Weights], *, result_rows: int
) -> AbstractContextManager[Decoded]:
    """Have the dots of `frame` worked out as the photo is stored, in each mix after the other."""
    part = frame.crop
    least = (
        math.ceil(frame.columns / (part.right - part.left)),
        math.ceil(frame.rows / (part.bottom - part.top)),
    )
    size = photo.orientation.swapped((frame.columns, frame.rows))
    stored_part = photo.orientation.stored(part)

    def dots(picture: DecodedPicture) -> Iterator[NDArray[np.float32]]:
        for weights in mixes:
            yield from rows_of_dots(picture, stored_part, size, weights)

    return photo.decode(
        lambda picture: ({}, dots(picture)),
        least_px=least,
        result_bytes=BYTES_OF_LIGHT * size[0] * result_rows,
    )


def rows_of_dots(
    picture: DecodedPicture,
    part: Crop,
    size: tuple[int, int],
    weights: Weights = LUMINANCE_WEIGHTS,
) -> Iterator[NDArray[np.float32]]:
    """Yield the luminance of `part` in size (columns, rows), a few rows at a time, top first.

    What is at work at once, pixels or dots, is about STRIP_PIXELS. Done in the decoder's process.
    """
    columns, rows = size
    width, height = picture.size
    left, right = part.left * width, part.right * width
    top, bottom = part.top * height, part.bottom * height
    scale = (bottom - top) / rows
    margin = math.ceil(_WIDEST_SUPPORT * max(1.0, scale, (right - left) / columns))
    first_x, last_x = max(0, int(left) - margin), min(width, math.ceil(right) + margin)
    widest = max((last_x - first_x) * scale, columns)  # of the photo's rows and of the dots'
    dots_at_once = max(1, int(STRIP_PIXELS / widest))
    for first in range(0, rows, dots_at_once):
        last = min(rows, first + dots_at_once)
        from_y, to_y = top + first * scale, top + last * scale
        first_y, last_y = max(0, int(from_y) - margin), min(height, math.ceil(to_y) + margin)
        strip = Image.fromarray(picture.luminance(first_x, first_y, last_x, last_y, weights))
        box = (left - first_x, from_y - first_y, right - first_x, min(to_y, height) - first_y)
        resized = strip.resize((columns, last - first), _filter(scale), _within(box, strip.size))
        yield np.asarray(resized)


def _filter(scale: float) -> Image.Resampling:
    # Neither rings where it has pixels to average; between pixels the smoother one looks better.
    return Image.Resampling.HAMMING if scale >= 1 else Image.Resampling.BICUBIC


def _within(
    box: tuple[float, float, float, float], size: tuple[int, int]
) -> tuple[float, float, float, float]:
    """Return `box` without what rounding put outside the strip."""
    left, top, right, bottom = box
    return max(0.0, left), max(0.0, top), min(float(size[0]), right), min(float(size[1]), bottom)
