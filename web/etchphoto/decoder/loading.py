"""Photo files: what is in one, and whether it can be read, before it is decoded.

Decoding waits until it is known how many dots are wanted, because a JPEG decoder can leave out
what nobody will see: that is what lets a small box take a 48-megapixel photo. Whatever looks into
the file does so in a process of its own (`decoder_process`).
"""

import hashlib
import os
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

from PIL import Image, ImageFile

from etchphoto.decoder.cost import (
    MAX_FILE_PIXELS,
    deep_cost_of,
    reduce_jpeg,
    require_decodable,
)
from etchphoto.decoder.decoding import (
    DECODING_FAILURES,
    DecodedPicture,
    decode_deep,
    decode_heif,
    decode_shallow,
    has_foreign_profile,
    is_deep,
)
from etchphoto.decoder.opening import (
    HEAD_BYTES,
    HEIF_FAILURES,
    HEIF_FORMAT,
    libraries_for,
    opened,
    reading,
    require_within_limits,
)
from etchphoto.decoder.orientation import UPRIGHT, Orientation
from etchphoto.decoder.process import Decoded, Numbers, Table, decoder_process
from etchphoto.errors import NotAPhoto, PhotoDamaged

READABLE_MODES: Final = frozenset((
    "1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "CMYK", "YCbCr",
    "I;16", "I;16L", "I;16B", "I;16N",
))  # fmt: skip
BYTES_OF_LIGHT: Final = 4  # a dot

_ORIENTATION_TAG: Final = 274
_SIDES: Final = ("width_px", "height_px")
_TURNS: Final = ("is_swapped", "is_flipped_x", "is_flipped_y")

PictureWork = Callable[[DecodedPicture], tuple[Table, Iterable[Numbers]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedPhoto:
    """A photo whose header has been read and found fit; `decode` reads the rest.

    Width and height are those of the upright picture.
    """

    name: str
    sha256: str
    width_px: int
    height_px: int
    orientation: Orientation
    source: Path | bytes
    is_deep: bool = False

    def decode(
        self, work: PictureWork, *, least_px: tuple[int, int], result_bytes: int = 0
    ) -> AbstractContextManager[Decoded]:
        """Have `work` done on the picture as it lies in the file, and hand out what it answers.

        `least_px` is the least width and height, upright, that the whole picture must keep: a
        JPEG far larger is decoded smaller. `result_bytes` is what the answer takes. Raise
        PhotoTooLarge for what takes more memory than there is, PhotoDamaged for a file that ends
        too early; `orientation` is what turns the picture upright.
        """
        if self.is_deep:
            import cv2  # noqa: F401, PLC0415  a tenth of a second and 40 MB that few photos need

        def decode_and_work(file: IO[bytes]) -> tuple[Table, Iterable[Numbers]]:
            return work(self._decoded(file, self.orientation.swapped(least_px), result_bytes))

        return decoder_process(self.source, self.name, decode_and_work)

    def _decoded(
        self, file: IO[bytes], least_px: tuple[int, int], result_bytes: int
    ) -> DecodedPicture:
        with opened(file, self.name) as image:
            file_bytes = _size_bytes(file)
            require_decodable(image, self.name, file_bytes=file_bytes, spare_bytes=result_bytes)
            reduce_jpeg(image, least_px, spare_bytes=result_bytes)
            try:
                return self._pixels(file, image, file_bytes, result_bytes)
            except DECODING_FAILURES as error:
                raise PhotoDamaged(
                    f"{self.name} is damaged or was not copied whole: copy it again, or open it "
                    "elsewhere and save it anew"
                ) from error

    def _pixels(
        self, file: IO[bytes], image: ImageFile.ImageFile, file_bytes: int, result_bytes: int
    ) -> DecodedPicture:
        if image.format == HEIF_FORMAT:
            try:
                return decode_heif(file)
            except HEIF_FAILURES as error:
                require_within_limits(error, self.name)
                raise ValueError from error
        if self.is_deep:
            cost = deep_cost_of(image, file_bytes=file_bytes)
            if cost.is_within(image.width * image.height, result_bytes):
                deep = decode_deep(file)
                if deep is not None:
                    return deep
        return decode_shallow(image)  # cut down to eight bits


def load_photo(source: Path | str | IO[bytes], *, name: str | None = None) -> LoadedPhoto:
    """Read the header of a photo, given as a path or as an open binary file.

    Raise PhotoMissing, PhotoUnreadable, NotAPhoto or PhotoTooLarge, each with a sentence; the
    pixels themselves are not looked at before `LoadedPhoto.decode`.
    """
    where: Path | bytes
    if isinstance(source, (str, Path)):
        where = Path(source)
        shown = name or where.name
    else:
        where = source.read()
        shown = name or "the photo"
    sha256 = _sha256(where, shown)
    with reading(where, shown) as file:
        libraries_for(file.read(HEAD_BYTES))
    with decoder_process(where, shown, lambda file: (_facts(file, shown), ())) as facts:
        orientation = Orientation(*(bool(facts.whole(name, most=1)) for name in _TURNS))
        width_px, height_px = (facts.whole(name, most=MAX_FILE_PIXELS) for name in _SIDES)
        has_depth = bool(facts.whole("is_deep", most=1))
    width_px, height_px = orientation.swapped((width_px, height_px))
    return LoadedPhoto(
        name=shown,
        sha256=sha256,
        width_px=width_px,
        height_px=height_px,
        orientation=orientation,
        source=where,
        is_deep=has_depth,
    )


def _facts(file: IO[bytes], name: str) -> Table:
    """Return what the header says, as whole numbers; in the decoder's process."""
    with opened(file, name) as image:
        _require_photo(image, name)
        require_decodable(image, name, file_bytes=_size_bytes(file))
        has_depth = _is_deep(image)  # first: looking for camera notes may decode a PNG
        sides = dict(zip(_SIDES, image.size, strict=True))
        held = _orientation(image)
        turns = {turn: int(getattr(held, turn)) for turn in _TURNS}
        return {**sides, **turns, "is_deep": int(has_depth)}


def _is_deep(image: ImageFile.ImageFile) -> bool:
    return is_deep(image) and not has_foreign_profile(image)


def _require_photo(image: Image.Image, name: str) -> None:
    if image.width * image.height < 1:
        raise NotAPhoto(f"{name} is a picture without a single pixel: choose another")
    if image.mode not in READABLE_MODES:
        raise NotAPhoto(
            f"{name} has colours of a kind we do not read ({image.mode}): save it as JPEG"
        )


def _sha256(source: Path | bytes, name: str) -> str:
    with reading(source, name) as file:
        digest = hashlib.sha256()
        while piece := file.read(1 << 20):
            digest.update(piece)
        if file.tell() == 0:
            raise NotAPhoto(f"{name} is empty: copy the photo again")
    return digest.hexdigest()


def _size_bytes(file: IO[bytes]) -> int:
    here = file.tell()
    end = file.seek(0, os.SEEK_END)
    file.seek(here)
    return end


def _orientation(image: Image.Image) -> Orientation:
    if image.format == "TIFF":
        return UPRIGHT  # its decoders turn it themselves
    try:
        return Orientation.from_exif(image.getexif().get(_ORIENTATION_TAG))
    except DECODING_FAILURES:
        return UPRIGHT  # camera data that makes no sense says nothing about how it was held
