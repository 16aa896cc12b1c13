"""How large a photo may be, by its format, said before anything is decoded."""

import io
import struct

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from etchphoto.decoder.loading import load_photo
from etchphoto.errors import PhotoTooLarge
from support.samples.photo_files import encoded, png_header, scene


def heic(**options):
    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(scene(64, 64))).save(file, quality=50, **options)
    return bytearray(file.getvalue())


def heic_that_claims(width, height, **options):
    """Return a HEIC file whose property `ispe` (ISO/IEC 23008-12, 6.5.3) states another size."""
    data = heic(**options)
    at = data.index(b"ispe") + 8
    data[at : at + 8] = width.to_bytes(4, "big") + height.to_bytes(4, "big")
    return bytes(data)


def heic_with_parts(count):
    """Return a HEIC file whose box `iinf` (ISO/IEC 14496-12, 8.11.6) states more items."""
    data = heic()
    at = data.index(b"iinf") + 8
    data[at : at + 2] = count.to_bytes(2, "big")
    return bytes(data)


def webp_that_claims(width, height):
    """Return a lossy WebP whose key frame (RFC 6386, 9.1) states another size."""
    data = bytearray(encoded(scene(), "WEBP", quality=80))
    data[26:30] = width.to_bytes(2, "little") + height.to_bytes(2, "little")
    return bytes(data)


def jpeg_that_claims(width, height, marker=b"\xff\xc0", **options):
    """Return a JPEG whose frame header (ITU-T T.81, B.2.2) states another size."""
    data = bytearray(encoded(scene(), "JPEG", **options))
    at = data.index(marker)
    data[at + 5 : at + 9] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
    return bytes(data)


def progressive_that_claims(width, height, **options):
    return jpeg_that_claims(width, height, b"\xff\xc2", progressive=True, **options)


def tiff_that_claims(width, height, **options):
    data = bytearray(encoded(scene(), "TIFF", **options))
    for tag, value in ((256, width), (257, height), (278, height)):
        for kind, size in ((3, 2), (4, 4)):  # a directory's entries: TIFF 6.0, page 14
            entry = struct.pack("<HHI", tag, kind, 1)
            if entry in data:
                at = data.index(entry) + 8
                data[at : at + size] = value.to_bytes(size, "little")
    return bytes(data)


TOO_LARGE = [
    (heic_that_claims(9000, 6800), "HEIC photo of 62 million pixels, and up to 41 million can be "
     "read here: export it smaller, or as JPEG"),
    (heic_that_claims(6000, 4000, chroma="444"), "HEIC photo of 24 .* up to 22 million"),
    (png_header(8000, 7000), "PNG photo of 56 million .* up to 52 million"),
    (webp_that_claims(5000, 4000), "WebP photo of 20 million .* up to 12 million"),
    (webp_that_claims(16000, 16000), "WebP photo of 256 million"),
    (jpeg_that_claims(20000, 12000), "JPEG photo of 240 .* up to 220 million .* smaller$"),
    (progressive_that_claims(10000, 8000), "progressive JPEG photo of 80 .* up to 72 million"),
    (progressive_that_claims(8000, 6000, subsampling=0), "progressive JPEG .* up to 36 million"),
    (tiff_that_claims(8000, 7000), "TIFF photo of 56 million .* up to 52 million"),
    (tiff_that_claims(8000, 6000, compression="tiff_lzw"), "TIFF photo of 48 .* up to 19 million"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "said"), TOO_LARGE, ids=[said[:28] for _, said in TOO_LARGE])
def test_a_photo_that_is_too_large_says_what_could_be_read(file, said):
    with pytest.raises(PhotoTooLarge, match=said):
        load_photo(io.BytesIO(file), name="at sea")


@pytest.mark.parametrize(
    "file",
    [
        heic_that_claims(7400, 5500),
        webp_that_claims(4096, 3072),
        jpeg_that_claims(16320, 12240),
        progressive_that_claims(8000, 6000),
        tiff_that_claims(8000, 6000),
    ],
    ids=["heic", "webp", "jpeg", "progressive", "tiff"],
)
def test_a_photo_of_a_phone_or_camera_is_let_in(file):
    assert load_photo(io.BytesIO(file)).width_px > 4000


def test_a_heic_photo_past_its_librarys_own_limits_is_a_sentence():
    with pytest.raises(PhotoTooLarge, match="more pixels or parts than its decoder takes"):
        load_photo(io.BytesIO(heic_with_parts(60_000)))


def test_dots_take_of_the_memory_that_the_picture_may_have():
    photo = load_photo(io.BytesIO(tiff_that_claims(8000, 6000)), name="at sea")

    with (
        pytest.raises(PhotoTooLarge, match="48 million pixels, and up to 45 million"),
        photo.decode(lambda _: ({}, ()), least_px=(9, 9), result_bytes=4 * 7_000_000),
    ):
        pass


@pytest.mark.slow
def test_a_jpeg_is_decoded_smaller_than_its_dots_where_the_memory_ends():
    grey = np.full((6000, 8000, 3), 188, np.uint8)
    photo = load_photo(io.BytesIO(encoded(grey, "JPEG", quality=30)))

    with photo.decode(
        lambda picture: ({"width": picture.size[0]}, ()),
        least_px=(5000, 3750),
        result_bytes=4 * 5000 * 3750,
    ) as decoded:
        assert decoded.whole("width", most=9999) == 4000
