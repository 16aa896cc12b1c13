"""A photo of a card as light: decoded, upright, and as codes that markers can be found in."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

import numpy as np
from numpy.typing import NDArray

from etchphoto.decoder_process import Table
from etchphoto.decoding import DecodedPicture
from etchphoto.errors import EtchphotoError
from etchphoto.loading import LoadedPhoto, load_photo
from etchproof.errors import PhotoRefused

Light = NDArray[np.float32]
Codes = NDArray[np.uint8]

LEAST_SIDE_PX: Final = 800  # of the longer side: below it a picture is somebody's thumbnail
KEPT_SIDE_PX: Final = 1800  # a JPEG of more than 16 megapixels is decoded smaller, down to this
ROWS_AT_ONCE: Final = 256


@dataclass(frozen=True, slots=True)
class Photograph:
    """A photo, upright: its light, 0 to 1, and the square root of it as codes for detection."""

    name: str
    sha256: str
    light: Light
    codes: Codes


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
        light, codes = _decoded(photo)
    except EtchphotoError as error:
        raise PhotoRefused("not-a-picture", str(error)) from error
    return Photograph(photo.name, photo.sha256, light, codes)


def _decoded(photo: LoadedPhoto) -> tuple[Light, Codes]:
    with photo.decode(_whole_light, least_px=(KEPT_SIDE_PX, KEPT_SIDE_PX)) as decoded:
        height = decoded.whole("rows", most=photo.height_px + photo.width_px)
        width = decoded.whole("columns", most=photo.height_px + photo.width_px)
        light: Light = decoded.read((height, width), np.float32)
    np.clip(light, 0, 1, out=light)
    codes = np.empty((height, width), dtype=np.uint8)
    for first in range(0, height, ROWS_AT_ONCE):
        last = min(height, first + ROWS_AT_ONCE)
        codes[first:last] = np.sqrt(light[first:last]) * 255  # near enough to the codes of a screen
    return (
        np.ascontiguousarray(photo.orientation.upright(light)),
        np.ascontiguousarray(photo.orientation.upright(codes)),
    )


def _whole_light(picture: DecodedPicture) -> tuple[Table, Iterator[Light]]:
    """Answer with the light of the whole picture; in the decoder's process."""
    width, height = picture.size
    rows = (
        picture.luminance(0, first, width, min(height, first + ROWS_AT_ONCE))
        for first in range(0, height, ROWS_AT_ONCE)
    )
    return {"rows": height, "columns": width}, rows
