"""Decoded pictures, read a few rows at a time as luminance.

A full picture in floats would take four times the memory of its codes, so nobody here ever
makes one.
"""

import struct
from collections.abc import Callable
from io import BytesIO
from typing import IO, Any, Final, Protocol

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageFile

from etchphoto.light import LUMINANCE_WEIGHTS, Weights, luminance

# What Pillow raises for a file that begins well and goes wrong later.
DECODING_FAILURES: Final = (
    OSError, SyntaxError, ValueError, EOFError, IndexError, KeyError, OverflowError, struct.error
)  # fmt: skip


Box = tuple[int, int, int, int]  # left, top, right, bottom


class DecodedPicture(Protocol):
    """A picture as it lies in its file, not yet upright."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        ...

    def luminance(
        self, left: int, top: int, right: int, bottom: int, weights: Weights = LUMINANCE_WEIGHTS
    ) -> NDArray[np.float32]:
        """Return the luminance of these pixels, shape (rows, columns)."""
        ...

    def colours(self, left: int, top: int, right: int, bottom: int) -> Image.Image:
        """Return these pixels as red, green and blue of eight bits each."""
        ...


class ShallowPicture:
    """A picture of eight bits a colour, or sixteen bits of grey."""

    def __init__(
        self, size: tuple[int, int], part: Callable[[Box], Image.Image], described: Image.Image
    ) -> None:
        """Take what cuts a part out of the picture, and a picture with its mode and notes."""
        self._size = size
        self._part = part
        self._to_srgb = _conversion(described)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self._size

    def luminance(
        self, left: int, top: int, right: int, bottom: int, weights: Weights = LUMINANCE_WEIGHTS
    ) -> NDArray[np.float32]:
        """Return the luminance of these pixels, shape (rows, columns)."""
        codes = np.asarray(self._to_srgb(self._part((left, top, right, bottom))))
        return luminance(codes.astype(codes.dtype.newbyteorder("="), copy=False), weights)

    def colours(self, left: int, top: int, right: int, bottom: int) -> Image.Image:
        """Return these pixels as red, green and blue of eight bits each."""
        part = self._to_srgb(self._part((left, top, right, bottom)))
        if part.mode.startswith("I;16"):
            part = Image.fromarray((np.asarray(part) >> 8).astype(np.uint8))
        return part if part.mode == "RGB" else part.convert("RGB")


class DeepPicture:
    """A picture of sixteen bits a colour, which Pillow would cut down to eight."""

    def __init__(self, codes: NDArray[np.uint16]) -> None:
        """Take the codes: (rows, columns, n) in the order blue, green, red, alpha."""
        self._codes = codes

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self._codes.shape[1], self._codes.shape[0]

    def luminance(
        self, left: int, top: int, right: int, bottom: int, weights: Weights = LUMINANCE_WEIGHTS
    ) -> NDArray[np.float32]:
        """Return the luminance of these pixels, shape (rows, columns)."""
        return luminance(self._part(left, top, right, bottom), weights)

    def colours(self, left: int, top: int, right: int, bottom: int) -> Image.Image:
        """Return these pixels as red, green and blue of eight bits each."""
        codes = self._part(left, top, right, bottom) >> 8
        return Image.fromarray(codes.astype(np.uint8)).convert("RGB")

    def _part(self, left: int, top: int, right: int, bottom: int) -> NDArray[np.uint16]:
        part = self._codes[top:bottom, left:right]
        if part.ndim == 3 and part.shape[2] >= 3:
            part = part[..., [2, 1, 0, *range(3, part.shape[2])]]
        return part


def is_deep(image: ImageFile.ImageFile) -> bool:
    """Return whether the file, not yet loaded, holds colours deeper than Pillow keeps them."""
    if image.mode not in ("RGB", "RGBA", "LA"):
        return False
    return any(";16" in str(part) for tile in image.tile for part in _as_tuple(tile.args))


def decode_deep(file: IO[bytes]) -> DeepPicture | None:
    """Decode a PNG or TIFF with all its bits, or return None where OpenCV cannot."""
    import cv2  # noqa: PLC0415  loaded before the decoder is locked in

    file.seek(0)
    try:
        codes: Any = cv2.imdecode(np.frombuffer(file.read(), np.uint8), cv2.IMREAD_UNCHANGED)
    except cv2.error:
        return None
    return DeepPicture(codes) if codes is not None and codes.dtype == np.uint16 else None


def decode_shallow(image: ImageFile.ImageFile) -> ShallowPicture:
    """Decode what Pillow has opened; raise one of DECODING_FAILURES."""
    image.load()
    return ShallowPicture(image.size, image.crop, image)


def decode_heif(file: IO[bytes]) -> ShallowPicture:
    """Decode a HEIF file; raise what its library raises.

    By way of Pillow each pixel would be held three times over.
    """
    import pillow_heif  # noqa: PLC0415  loaded before the decoder is locked in

    file.seek(0)
    pictures = pillow_heif.open_heif(file)
    picture = pictures[pictures.primary_index]
    codes = np.asarray(picture)
    described = Image.new(picture.mode, (1, 1))
    described.info.update(picture.info)

    def part(box: Box) -> Image.Image:
        left, top, right, bottom = box
        data = codes[top:bottom, left:right].tobytes()
        return Image.frombytes(picture.mode, (right - left, bottom - top), data)

    return ShallowPicture(picture.size, part, described)


def has_foreign_profile(image: Image.Image) -> bool:
    """Return whether the picture's colours are described as other than sRGB."""
    return _foreign_profile(image) is not None


def _foreign_profile(image: Image.Image) -> ImageCms.ImageCmsProfile | None:
    data = image.info.get("icc_profile")
    if not data:
        return None
    try:
        profile = ImageCms.getOpenProfile(BytesIO(data))
        is_srgb = "srgb" in ImageCms.getProfileDescription(profile).lower()
    except (ImageCms.PyCMSError, OSError, ValueError):
        return None  # a broken profile says nothing; phones then show the codes as sRGB too
    return None if is_srgb else profile


def _conversion(image: Image.Image) -> Callable[[Image.Image], Image.Image]:
    """Return what turns a part of `image` into L, LA, RGB, RGBA or I;16 codes of sRGB."""
    if image.mode.startswith("I;16"):
        return _unchanged
    if image.has_transparency_data:
        return _to_mode("RGBA")
    profile = _foreign_profile(image)
    if profile is not None and image.mode in ("L", "RGB", "CMYK"):
        try:
            return _by_profile(profile, image.mode)
        except (ImageCms.PyCMSError, OSError, ValueError):
            pass  # a profile for another kind of picture: as if there were none
    if image.mode in ("L", "RGB"):
        return _unchanged
    return _to_mode("L" if image.mode == "1" else "RGB")


def _as_tuple(value: object) -> tuple[object, ...]:
    return value if isinstance(value, tuple) else (value,)


def _unchanged(part: Image.Image) -> Image.Image:
    return part


def _to_mode(mode: str) -> Callable[[Image.Image], Image.Image]:
    return lambda part: part.convert(mode)


def _by_profile(
    profile: ImageCms.ImageCmsProfile, mode: str
) -> Callable[[Image.Image], Image.Image]:
    srgb: Any = ImageCms.createProfile("sRGB")
    transform = ImageCms.buildTransform(profile, srgb, mode, "RGB")
    return lambda part: ImageCms.applyTransform(part, transform) or part
