"""Opening a photo file: which formats are taken, and what is said of a file that is none."""

import struct
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import IO, Final

from PIL import (
    Image,
    ImageFile,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    UnidentifiedImageError,
    WebPImagePlugin,
)

from etchphoto.decoder.cost import WEBP_COST, require_fit
from etchphoto.errors import (
    NotAPhoto,
    PhotoDamaged,
    PhotoMissing,
    PhotoTooLarge,
    PhotoUnreadable,
)

# Naming the classes registers them, and none of Pillow's other forty formats.
FORMATS: Final = tuple(
    kind.format
    for kind in (
        JpegImagePlugin.JpegImageFile,
        PngImagePlugin.PngImageFile,
        TiffImagePlugin.TiffImageFile,
        WebPImagePlugin.WebPImageFile,
    )
)
HEIF_FORMAT: Final = "HEIF"
KINDS: Final = "JPEG, PNG, WebP, TIFF or HEIC"
MAKE_SMALLER: Final = "save a smaller copy, a tile holds only a few million dots"
HEAD_BYTES: Final = 30
# What pillow_heif raises for the errors of libheif.
HEIF_FAILURES: Final = (EOFError, IndexError, OSError, RuntimeError, SyntaxError, ValueError)

Image.MAX_IMAGE_PIXELS = None  # what may be decoded is said in `decoder.cost`, before it is
Image.preinit()  # or it would load its plugins where files cannot be opened any more


@contextmanager
def reading(source: Path | bytes, name: str) -> Iterator[IO[bytes]]:
    """Hand out the file; raise PhotoMissing or PhotoUnreadable with a sentence."""
    if isinstance(source, bytes):
        yield BytesIO(source)
        return
    try:
        file = source.open("rb")
    except FileNotFoundError as error:
        raise PhotoMissing(f"there is no file {source}: check the name and the folder") from error
    except IsADirectoryError as error:
        raise PhotoUnreadable(f"{source} is a folder: name one photo in it") from error
    except OSError as error:
        raise PhotoUnreadable(
            f"{name} cannot be read ({error.strerror}): check who may read it"
        ) from error
    with file:
        yield file


def libraries_for(head: bytes) -> None:
    """Load what decoding a file that begins like this needs besides Pillow."""
    if _is_heif(head):
        # Large, and only a phone's picture needs it.
        import pillow_heif  # noqa: PLC0415

        pillow_heif.options.DECODE_THREADS = 0  # the decoder's process can have but one
        pillow_heif.register_heif_opener(thumbnails=False, depth_images=False, aux_images=False)


@contextmanager
def opened(file: IO[bytes], name: str) -> Iterator[ImageFile.ImageFile]:
    """Hand out the picture with its header read.

    Raise NotAPhoto, PhotoTooLarge or PhotoDamaged, each with a sentence.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what Pillow thinks of a camera's notes helps nobody
        image = _open(file, name)
        with image:
            yield image


def _open(file: IO[bytes], name: str) -> ImageFile.ImageFile:
    head = file.read(HEAD_BYTES)
    file.seek(0)
    if (size_px := _webp_size_px(head)) is not None:  # opened, it takes its canvases' memory
        require_fit(*size_px, WEBP_COST, name=name)
    try:
        return Image.open(file, formats=(HEIF_FORMAT,) if _is_heif(head) else FORMATS)
    except UnidentifiedImageError as error:
        if _is_heif(head):
            _require_sound_heif(file, name)
        raise NotAPhoto(
            f"{name} is not a {KINDS} picture: open it in a picture viewer and save it as JPEG"
        ) from error
    except (OSError, ValueError, OverflowError) as error:
        raise PhotoDamaged(
            f"{name} begins like a picture, but its header makes no sense: copy it again, or "
            "open it elsewhere and save it anew"
        ) from error


def _is_heif(head: bytes) -> bool:
    return head[4:8] == b"ftyp"


def _webp_size_px(head: bytes) -> tuple[int, int] | None:
    """Return the size that a WebP file states (RFC 9649, 2.5 to 2.7), None for any other file."""
    if len(head) < HEAD_BYTES or head[:4] != b"RIFF" or head[8:12] != b"WEBP":
        return None
    if head[12:16] == b"VP8X":
        return int.from_bytes(head[24:27], "little") + 1, int.from_bytes(head[27:30], "little") + 1
    if head[12:16] == b"VP8L":
        bits = int.from_bytes(head[21:25], "little")
        return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1
    width, height = struct.unpack_from("<HH", head, 26)
    return width & 0x3FFF, height & 0x3FFF


def _require_sound_heif(file: IO[bytes], name: str) -> None:
    """Raise what its own library has against a HEIF file, which Pillow keeps to itself."""
    import pillow_heif  # noqa: PLC0415 - loaded before, by `libraries_for`

    file.seek(0)
    try:
        pillow_heif.open_heif(file)
    except HEIF_FAILURES as error:
        require_within_limits(error, name)


def require_within_limits(error: Exception, name: str) -> None:
    """Raise PhotoTooLarge or MemoryError where that is what libheif's `error` says."""
    said = str(error)
    if "limit exceeded" in said:
        raise PhotoTooLarge(
            f"{name} is a HEIC photo that states more pixels or parts than its decoder takes for "
            "safety: export it as JPEG"
        ) from error
    if "allocat" in said:
        raise MemoryError from error
