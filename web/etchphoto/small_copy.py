"""A small copy of a photo in colour: pixels and nothing else of the file."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from PIL import Image

from etchphoto.decoder.decoding import DecodedPicture
from etchphoto.decoder.loading import load_photo
from etchphoto.decoder.process import Numbers, Table

_ROWS_AT_ONCE = 64  # of what comes out


def small_copy(source: Path, name: str, longest_px: int) -> Image.Image:
    """Return the photo upright, its longer side `longest_px` at most; raise an EtchphotoError."""
    photo = load_photo(source, name=name)
    least = (min(photo.width_px, longest_px), min(photo.height_px, longest_px))
    with photo.decode(lambda picture: _reduced(picture, longest_px), least_px=least) as decoded:
        rows = decoded.whole("rows", most=2 * longest_px)
        columns = decoded.whole("columns", most=2 * longest_px)
        stored = decoded.read((rows, columns, 3), np.uint8)
    image = Image.fromarray(np.ascontiguousarray(photo.orientation.upright(stored)))
    image.thumbnail((longest_px, longest_px))
    return image


def _reduced(picture: DecodedPicture, longest_px: int) -> tuple[Table, Iterator[Numbers]]:
    """Answer with the picture made smaller by a whole number; in the decoder's process."""
    width, height = picture.size
    times = max(1, max(width, height) // longest_px)
    table = {"rows": -(-height // times), "columns": -(-width // times)}
    return table, _strips(picture, times)


def _strips(picture: DecodedPicture, times: int) -> Iterator[Numbers]:
    width, height = picture.size
    for top in range(0, height, _ROWS_AT_ONCE * times):
        strip = picture.colours(0, top, width, min(height, top + _ROWS_AT_ONCE * times))
        yield np.asarray(strip.reduce(times))
