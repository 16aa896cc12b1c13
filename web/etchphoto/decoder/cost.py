"""What decoding a photo takes of memory, known from its header, and so how large one may be.

The bytes a pixel were measured with photos of 24 and 48 megapixels (`tests/measure`), with Pillow
13, libjpeg-turbo, libheif 1.2x and OpenCV 5. The page's unit has 300 MB: the page takes 45, its
child 30 before it decodes.
"""

import math
from dataclasses import dataclass, replace
from typing import Any, Final

from PIL import Image, ImageFile

from etchphoto.errors import PhotoTooLarge

MAX_FILE_PIXELS: Final = 220_000_000  # phones reach 200 megapixels
MOST_BYTES: Final = 222_000_000  # for the decoder, and for the dots that are made of the picture
_WORK_BYTES: Final = 12_000_000  # for a strip of rows on its way to light
_DRAFT_SCALES: Final = (1, 2, 4, 8)
ENOUGH_PIXELS: Final = 16_000_000  # a JPEG above this is decoded smaller if dots stay sharp

_KINDS: Final = {"HEIF": "HEIC", "MPO": "JPEG"}  # as people say
_BYTES_BY_MODE: Final = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16L": 2, "I;16B": 2, "I;16N": 2}
_BYTES_OF_COLOUR: Final = 4  # Pillow keeps a fourth byte beside red, green and blue
_WEBP_BYTES: Final = 16.5  # two canvases, the frame handed out, and Pillow's own copy
_HEIF_BYTES: Final = 5.4  # planes of 4:2:0 and the colours made of them
_HEIF_DEEP_BYTES: Final = 8.6
_HEIF_FULL_BYTES: Final = 10.0  # 4:4:4, or 4:2:2
_HEIF_ALPHA_BYTES: Final = 2.4
_DEEP_BYTES: Final = {"RGB": 13.5, "RGBA": 17.5, "LA": 13.5}  # OpenCV's, of sixteen bits


@dataclass(frozen=True, slots=True)
class Cost:
    """Bytes a pixel of the file: at the worst moment of decoding, and kept until dots are made.

    `fixed_bytes` come on top while decoding. `kind` is the format in a person's word.
    """

    kind: str
    decoding: float
    kept: float
    fixed_bytes: int = 0

    def is_within(self, pixels: int, spare_bytes: int) -> bool:
        """Return whether so many pixels can be decoded beside `spare_bytes` of dots."""
        return pixels <= self.most_pixels(spare_bytes)

    def most_pixels(self, spare_bytes: int) -> int:
        """Return how many pixels can be decoded beside `spare_bytes` of dots."""
        while_decoding = (MOST_BYTES - self.fixed_bytes) / self.decoding
        afterwards = (MOST_BYTES - _WORK_BYTES - spare_bytes) / self.kept
        most = min(while_decoding, afterwards)
        return max(0, min(MAX_FILE_PIXELS, int(most)))


WEBP_COST: Final = Cost("WebP", _WEBP_BYTES, _WEBP_BYTES)


def cost_of(image: ImageFile.ImageFile, *, scale: int = 1, file_bytes: int = 0) -> Cost:
    """Return what decoding `image`, of which only the header was read, costs; a JPEG at 1/`scale`.

    `file_bytes` is the size of the file, which some libraries read whole.
    """
    kept = float(_BYTES_BY_MODE.get(image.mode, _BYTES_OF_COLOUR))
    kind = _KINDS.get(str(image.format), str(image.format))
    if image.format == "WEBP":
        return replace(WEBP_COST, fixed_bytes=file_bytes)
    if image.format == "HEIF":
        return Cost(kind, _heif_bytes(image), kept, file_bytes)
    if is_jpeg(image):
        kept /= scale**2
        if image.info.get("progressive"):
            return Cost(f"progressive {kind}", kept + _coefficient_bytes(image), kept)
        return Cost(kind, kept, kept)
    if image.format == "TIFF" and image.info.get("compression", "raw") != "raw":
        return Cost(kind, kept, kept, _piece_bytes(image) + file_bytes)
    return Cost(kind, kept, kept)


def deep_cost_of(image: ImageFile.ImageFile, *, file_bytes: int) -> Cost:
    """Return what it costs to decode a picture with all of its sixteen bits a colour."""
    cost = _DEEP_BYTES[image.mode]
    return Cost(f"16-bit {image.format}", cost, cost, file_bytes)


def require_decodable(
    image: ImageFile.ImageFile, name: str, *, file_bytes: int = 0, spare_bytes: int = 0
) -> None:
    """Raise PhotoTooLarge, naming what could be read, for what would take too much memory.

    A JPEG is judged by the smallest that its decoder makes of it.
    """
    scale = _DRAFT_SCALES[-1] if is_jpeg(image) else 1
    cost = cost_of(image, scale=scale, file_bytes=file_bytes)
    require_fit(image.width, image.height, cost, name=name, spare_bytes=spare_bytes)


def require_fit(
    width_px: int, height_px: int, cost: Cost, *, name: str, spare_bytes: int = 0
) -> None:
    """Raise PhotoTooLarge for a size that cannot be decoded at that `cost`."""
    pixels = width_px * height_px
    if cost.is_within(pixels, spare_bytes):
        return
    raise PhotoTooLarge(
        f"{name} is a {cost.kind} photo of {math.ceil(pixels / 1e6)} million pixels, and up to "
        f"{cost.most_pixels(spare_bytes) // 1_000_000} million can be read here: export it "
        f"smaller{'' if 'JPEG' in cost.kind else ', or as JPEG'}"
    )


def reduce_jpeg(image: ImageFile.ImageFile, least_px: tuple[int, int], *, spare_bytes: int) -> None:
    """Have a large JPEG decoded at 1/2, 1/4 or 1/8, as far as each dot keeps a pixel.

    `least_px` is the least width and height, as stored, that the picture must keep for that. One
    that does not fit the memory then is decoded smaller all the same.
    """
    if not is_jpeg(image):
        return
    width, height = image.size
    chosen = 1
    for scale in _DRAFT_SCALES[1:]:
        is_enough = width * height <= ENOUGH_PIXELS * chosen**2
        is_sharp = width >= least_px[0] * scale and height >= least_px[1] * scale
        fits = cost_of(image, scale=chosen).is_within(width * height, spare_bytes)
        if fits and (is_enough or not is_sharp):
            break
        chosen = scale
    if chosen > 1:
        image.draft(None, (width // chosen, height // chosen))


def is_jpeg(image: Image.Image) -> bool:
    """Return whether the picture has a decoder that can leave out what nobody will see."""
    return image.format in ("JPEG", "MPO")


def _coefficient_bytes(image: Any) -> float:
    """Return the bytes a pixel of a progressive JPEG's coefficients, two bytes each (T.81, A.1)."""
    samplings = [(across, down) for _, across, down, _ in image.layer]
    finest = max(across for across, _ in samplings) * max(down for _, down in samplings)
    return float(2 * sum(across * down for across, down in samplings) / finest)


def _heif_bytes(image: Image.Image) -> float:
    is_deep = int(image.info.get("bit_depth", 8)) > 8
    if image.info.get("chroma", 420) == 420:
        plain = _HEIF_DEEP_BYTES if is_deep else _HEIF_BYTES
    else:
        plain = _HEIF_FULL_BYTES * (2 if is_deep else 1)
    return plain + (_HEIF_ALPHA_BYTES if image.mode == "RGBA" else 0)


def _piece_bytes(image: Any) -> int:
    """Return the size of the largest strip or tile of a packed TIFF, which is unpacked apart."""
    tags = image.tag_v2
    across, down = tags.get(322, image.width), tags.get(323, tags.get(278, image.height))
    bits = tags.get(258, (8,))
    return int(across * min(down, image.height) * sum(bits) / 8)
