"""Photo files: what is in one, and whether it can be read, before it is decoded.

Decoding waits until it is known how many dots are wanted, because a JPEG decoder can leave out
what nobody will see: that is what lets a small box take a 48-megapixel photo.
"""

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import IO, Final

from PIL import Image

from etchphoto.decoding import (
    DECODING_FAILURES,
    DecodedPicture,
    ShallowPicture,
    decode_deep,
    has_foreign_profile,
    is_deep,
)
from etchphoto.errors import NotAPhoto, PhotoDamaged, PhotoTooLarge
from etchphoto.opening import MAKE_SMALLER, MAX_FILE_PIXELS, opened, reading
from etchphoto.orientation import UPRIGHT, Orientation

READABLE_MODES: Final = frozenset((
    "1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "CMYK", "YCbCr",
    "I;16", "I;16L", "I;16B", "I;16N",
))  # fmt: skip
MAX_DECODED_PIXELS: Final = 64_000_000  # four bytes each: 256 MB
ENOUGH_PIXELS: Final = 16_000_000  # a JPEG above this is decoded smaller if dots stay sharp
DECODER_SCALES: Final = (2, 4, 8)

_ORIENTATION_TAG: Final = 274


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

    def decode(self, *, least_px: tuple[int, int]) -> tuple[DecodedPicture, Orientation]:
        """Return the picture as it lies in the file, and what turns it upright.

        `least_px` is the least width and height, upright, that the whole picture must keep: a
        JPEG far larger is decoded smaller. Raise PhotoDamaged for a file that ends too early.
        """
        with opened(self.source, self.name) as image:
            _reduce(image, self.orientation.swapped(least_px))
            _require_decodable(image, self.name)
            deep = is_deep(image) and not has_foreign_profile(image)
            try:
                image.load()
                picture = (decode_deep(_read(self.source)) if deep else None) or ShallowPicture(
                    image
                )
            except DECODING_FAILURES as error:
                raise PhotoDamaged(
                    f"{self.name} is damaged or was not copied whole: copy it again, or open it "
                    "elsewhere and save it anew"
                ) from error
        return picture, self.orientation


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
    with opened(where, shown) as image:
        photo = LoadedPhoto(
            name=shown,
            sha256=sha256,
            width_px=image.width,
            height_px=image.height,
            orientation=_orientation(image),
            source=where,
        )
        _require_photo(image, shown)
    width_px, height_px = photo.orientation.swapped((photo.width_px, photo.height_px))
    return replace(photo, width_px=width_px, height_px=height_px)


def _sha256(source: Path | bytes, name: str) -> str:
    with reading(source, name) as file:
        digest = hashlib.sha256()
        while piece := file.read(1 << 20):
            digest.update(piece)
        if file.tell() == 0:
            raise NotAPhoto(f"{name} is empty: copy the photo again")
    return digest.hexdigest()


def _read(source: Path | bytes) -> bytes:
    return source if isinstance(source, bytes) else source.read_bytes()


def _require_photo(image: Image.Image, name: str) -> None:
    pixels = image.width * image.height
    if pixels < 1:
        raise NotAPhoto(f"{name} is a picture without a single pixel: choose another")
    if pixels > MAX_FILE_PIXELS:
        raise PhotoTooLarge(
            f"{name} has {pixels / 1e6:.0f} megapixels, more than the "
            f"{MAX_FILE_PIXELS // 1_000_000} we decode: {MAKE_SMALLER}"
        )
    if image.mode not in READABLE_MODES:
        raise NotAPhoto(
            f"{name} has colours of a kind we do not read ({image.mode}): save it as JPEG"
        )


def _require_decodable(image: Image.Image, name: str) -> None:
    if image.width * image.height > MAX_DECODED_PIXELS:
        raise PhotoTooLarge(
            f"{name} has {image.width * image.height / 1e6:.0f} megapixels to decode, more than "
            f"the {MAX_DECODED_PIXELS // 1_000_000} this box takes: {MAKE_SMALLER}, or save it "
            "as JPEG, which can be decoded smaller"
        )


def _orientation(image: Image.Image) -> Orientation:
    if image.format == "TIFF":
        return UPRIGHT  # its decoders turn it themselves
    try:
        return Orientation.from_exif(image.getexif().get(_ORIENTATION_TAG))
    except DECODING_FAILURES:
        return UPRIGHT  # camera data that makes no sense says nothing about how it was held


def _reduce(image: Image.Image, least_px: tuple[int, int]) -> None:
    """Have a JPEG decoded at 1/2, 1/4 or 1/8 when it is large and keeps a pixel for each dot."""
    if image.format not in ("JPEG", "MPO"):
        return
    width, height = image.size
    scale = 1
    for larger in DECODER_SCALES:
        is_enough = width * height <= ENOUGH_PIXELS * scale**2
        if is_enough or width < least_px[0] * larger or height < least_px[1] * larger:
            break
        scale = larger
    if scale > 1:
        image.draft(None, (width // scale, height // scale))
