"""A photo of a card as light: decoded, upright, and as codes that markers can be found in."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import IO, Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.decoder.cost import ENOUGH_PIXELS
from etchphoto.decoder.decoding import DecodedPicture
from etchphoto.decoder.loading import LoadedPhoto, load_photo
from etchphoto.decoder.process import Table
from etchphoto.errors import EtchphotoError
from etchproof.errors import PhotoRefused

Light = NDArray[np.float32]
Codes = NDArray[np.uint8]
Colour = NDArray[np.float32]  # (rows, columns, red and blue)

LEAST_SIDE_PX: Final = 800  # of the longer side: below it a picture is somebody's thumbnail
KEPT_SIDE_PX: Final = 1800  # a photo of more than 16 megapixels is made smaller, down to this
ROWS_AT_ONCE: Final = 128  # with more, a fresh child takes longer to find memory for them
SCREEN_GAMMA: Final = 2.2  # near enough to sRGB where only proportions count
_LIGHT_OF_CODE: Final = ((np.arange(256) / 255) ** SCREEN_GAMMA).astype(np.float32)
RED_AND_BLUE: Final = (0, 2)
COLOUR_PX: Final = 4  # a side of the squares whose colour is kept: patches are far larger
_RESULT_BYTES: Final = 6 * ENOUGH_PIXELS  # light, codes and colour


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photo, upright: its light, 0 to 1, and the square root of it as codes for detection.

    `colour` is the light of red and of blue, 0 to 1, of squares of `COLOUR_PX` a side.
    """

    name: str
    sha256: str
    light: Light
    codes: Codes
    colour: Colour


def load_photograph(source: Path | IO[bytes], *, name: str | None = None) -> Photograph:
    """Decode a photo of a card; raise PhotoRefused, with the remedy, for what is none."""
    try:
        photo = load_photo(source, name=name)
        if max(photo.width_px, photo.height_px) < LEAST_SIDE_PX:
            raise PhotoRefused(
                "thumbnail",
                f"{photo.name} has only {photo.width_px} × {photo.height_px} pixels, as a "
                "thumbnail has: send the photo itself, in its original size",
            )
        light, codes, colour = _decoded(photo)
    except EtchphotoError as error:
        raise PhotoRefused("not-a-picture", str(error)) from error
    return Photograph(photo.name, photo.sha256, light, codes, colour)


def _decoded(photo: LoadedPhoto) -> tuple[Light, Codes, Colour]:
    with photo.decode(
        _whole_light, least_px=(KEPT_SIDE_PX, KEPT_SIDE_PX), result_bytes=_RESULT_BYTES
    ) as decoded:
        height = decoded.whole("rows", most=photo.height_px + photo.width_px)
        width = decoded.whole("columns", most=photo.height_px + photo.width_px)
        light: Light = decoded.read((height, width), np.float32)
        squares = (height // COLOUR_PX, width // COLOUR_PX, 2)
        colour: Colour = decoded.read(squares, np.float32)
    np.clip(light, 0, 1, out=light)
    codes = np.empty((height, width), dtype=np.uint8)
    for first, last in _strips(height):
        codes[first:last] = np.sqrt(light[first:last]) * 255  # near enough to the codes of a screen
    return (
        np.ascontiguousarray(photo.orientation.upright(light)),
        np.ascontiguousarray(photo.orientation.upright(codes)),
        np.ascontiguousarray(photo.orientation.upright(colour)),
    )


def _whole_light(picture: DecodedPicture) -> tuple[Table, Iterator[Light]]:
    """Answer with the light of the whole picture, then with its colour; in the decoder's process.

    What a JPEG's decoder does with one that is too large is done here with any other: the light
    of several pixels becomes one.
    """
    width, height = picture.size
    times = 1
    while (
        width * height > ENOUGH_PIXELS * times**2 and min(width, height) >= 2 * KEPT_SIDE_PX * times
    ):
        times *= 2
    rows, columns = height // times, width // times
    strips = (
        _mean_of(times, picture.luminance(0, first, columns * times, last))
        for first, last in _strips(rows * times)
    )
    colours = _colours(picture, times, rows // COLOUR_PX, columns // COLOUR_PX)
    return {"rows": rows, "columns": columns}, chain(strips, colours)


def _colours(picture: DecodedPicture, times: int, rows: int, columns: int) -> Iterator[Colour]:
    side = COLOUR_PX * times
    for first, last in _strips(rows * COLOUR_PX):
        part = picture.colours(0, first * times, columns * side, last * times)
        codes = np.asarray(part)
        light = [_LIGHT_OF_CODE.take(codes[..., channel]) for channel in RED_AND_BLUE]
        yield np.stack([_mean_of(side, one) for one in light], axis=2)


def _strips(height: int) -> Iterator[tuple[int, int]]:
    for first in range(0, height, ROWS_AT_ONCE):
        yield first, min(height, first + ROWS_AT_ONCE)


def _mean_of(times: int, light: Light) -> Light:
    """Return one pixel for each square of `times` pixels a side."""
    if times == 1:
        return light
    rows, columns = light.shape
    tall = light.reshape(rows // times, times, columns).sum(axis=1)
    squares = sum(tall[:, place::times] for place in range(times))
    return np.asarray(squares * np.float32(1 / times**2))
