"""Opening a photo file: which formats are taken, and what is said of a file that is none."""

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
MAX_FILE_PIXELS: Final = 220_000_000  # phones reach 200 megapixels
_HEIF_MARK: Final = slice(4, 8), b"ftyp"
MAKE_SMALLER: Final = "save a smaller copy, a tile holds only a few million dots"

# Pillow's own limit warns at this number and refuses at twice as many; ours comes first.
Image.MAX_IMAGE_PIXELS = MAX_FILE_PIXELS


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


@contextmanager
def opened(source: Path | bytes, name: str) -> Iterator[ImageFile.ImageFile]:
    """Hand out the picture with its header read.

    Raise NotAPhoto, PhotoTooLarge or PhotoDamaged as well, each with a sentence.
    """
    with reading(source, name) as file, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what Pillow thinks of a camera's notes helps nobody
        formats = _formats_of(file)
        try:
            image = Image.open(file, formats=formats)
        except Image.DecompressionBombError as error:
            raise PhotoTooLarge(
                f"{name} has more than {2 * MAX_FILE_PIXELS // 1_000_000} megapixels: "
                f"{MAKE_SMALLER}"
            ) from error
        except UnidentifiedImageError as error:
            raise NotAPhoto(
                f"{name} is not a {KINDS} picture: open it in a picture viewer and save it as JPEG"
            ) from error
        except (OSError, ValueError, OverflowError) as error:
            raise PhotoDamaged(
                f"{name} begins like a picture, but its header makes no sense: copy it again, or "
                "open it elsewhere and save it anew"
            ) from error
        with image:
            yield image


def _formats_of(file: IO[bytes]) -> tuple[str, ...]:
    head = file.read(12)
    file.seek(0)
    place, mark = _HEIF_MARK
    if head[place] != mark:
        return FORMATS
    import pillow_heif  # noqa: PLC0415  a large library that only a phone's picture needs

    pillow_heif.register_heif_opener()
    return (HEIF_FORMAT,)
