"""Photo files of every kind, turned upright, and those that cannot be read."""

import hashlib
import io

import cv2
import numpy as np
import pillow_heif
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageOps

from etchphoto.decoder.cost import ENOUGH_PIXELS
from etchphoto.decoder.loading import load_photo
from etchphoto.errors import (
    EtchphotoError,
    NotAPhoto,
    PhotoDamaged,
    PhotoMissing,
    PhotoTooLarge,
    PhotoUnreadable,
)
from etchphoto.framing import frame_photo
from etchphoto.light import luminance
from etchphoto.resampling import luminance_per_dot
from support.harnesses.examples import examples
from support.samples.photo_files import (
    HORSE,
    deep_tiff,
    encoded,
    exif,
    linear_profile,
    png_header,
    png_with_profile,
    scene,
)

pytestmark = pytest.mark.slow


def dot_for_pixel(source):
    """Return the luminance of the whole photo with one dot for each pixel."""
    photo = load_photo(io.BytesIO(source) if isinstance(source, bytes) else source)
    frame = frame_photo(
        photo.width_px,
        photo.height_px,
        width_mm=photo.width_px * 0.1,
        height_mm=photo.height_px * 0.1,
        line_spacing_mm=0.1,
    )
    return luminance_per_dot(photo, frame)


def decoded_size(source, *, least_px):
    """Return the size at which a photo is decoded, as it lies in the file."""
    photo = load_photo(io.BytesIO(source) if isinstance(source, bytes) else source)
    with photo.decode(
        lambda picture: (dict(zip("wh", picture.size, strict=True)), ()), least_px=least_px
    ) as decoded:
        return decoded.whole("w", most=10**6), decoded.whole("h", most=10**6)


def heic(codes, **options):
    file = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(codes)).save(file, quality=-1, **options)
    return file.getvalue()


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        ("PNG", {}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("WEBP", {"lossless": True}),
    ],
)
def test_a_lossless_photo_gives_exactly_its_luminance(kind, options):
    light = dot_for_pixel(encoded(scene(), kind, **options))

    assert light == pytest.approx(luminance(scene()), abs=1e-6)


@pytest.mark.parametrize(("kind", "quality"), [("JPEG", 95), ("WEBP", 95)])
def test_a_lossy_photo_gives_nearly_its_luminance(kind, quality):
    light = dot_for_pixel(encoded(scene(), kind, quality=quality))

    assert light == pytest.approx(luminance(scene()), abs=0.04)


def test_a_phones_heic_photo_is_read():
    light = dot_for_pixel(heic(scene(64, 48)))

    assert light == pytest.approx(luminance(scene(64, 48)), abs=0.05)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_a_photo_taken_sideways_stands_upright(kind, orientation):
    options = {"lossless": True} if kind == "WEBP" else {}
    file = encoded(scene(), kind, exif=exif(orientation), **options)
    upright = ImageOps.exif_transpose(Image.open(io.BytesIO(file))).convert("RGB")

    light = dot_for_pixel(file)

    assert light.shape == (upright.height, upright.width)
    assert light == pytest.approx(luminance(np.asarray(upright)), abs=1e-6)


@pytest.mark.parametrize("orientation", [1, 3, 6])
def test_a_phones_heic_photo_taken_sideways_stands_upright(orientation):
    turns = {1: 0, 3: 2, 6: -1}  # quarter turns against the clock, EXIF tag 274
    file = heic(scene(64, 48), exif=exif(orientation).tobytes())

    light = dot_for_pixel(file)

    assert light == pytest.approx(luminance(np.rot90(scene(64, 48), turns[orientation])), abs=0.05)


def test_camera_notes_that_make_no_sense_leave_the_photo_as_it_lies():
    assert dot_for_pixel(encoded(scene(), "PNG", exif=exif(77))).shape == (40, 60)


@pytest.mark.parametrize("channels", [2, 4])
def test_what_is_transparent_shows_the_white_tile(channels):
    light = dot_for_pixel(encoded(scene(channels=channels), "PNG"))

    assert (light[:20] == 1).all()
    assert light[21:] == pytest.approx(luminance(scene(channels=channels)[21:]), abs=1e-6)


def test_a_palette_with_a_transparent_colour_shows_the_white_tile():
    indexed = Image.fromarray(np.array([[0, 1]], dtype=np.uint8))
    indexed.putpalette((0, 0, 0, 255, 0, 0))

    light = dot_for_pixel(encoded(indexed, "PNG", transparency=0))

    assert light[0] == pytest.approx([1, 0.2126], abs=1e-6)


def test_the_horse_stands_on_a_bare_tile():
    light = dot_for_pixel(HORSE)

    assert light.shape == (328, 400)
    assert light[0, 0] == 1
    assert light.min() < 0.01


def test_black_and_white_line_art_stays_black_and_white():
    art = Image.fromarray(scene(channels=1)).point(lambda code: 255 * (code > 99)).convert("1")

    assert set(np.unique(dot_for_pixel(encoded(art, "TIFF")))) == {0.0, 1.0}


@pytest.mark.parametrize("kind", [".png", ".tiff"])
def test_grey_of_sixteen_bits_keeps_its_depth(kind):
    codes = (20000 + np.arange(2400).reshape(40, 60)).astype(np.uint16)

    light = dot_for_pixel(cv2.imencode(kind, codes)[1].tobytes())

    assert len(np.unique(light)) == 2400
    assert light == pytest.approx(luminance(codes), abs=1e-6)


@pytest.mark.parametrize("channels", [3, 4])
def test_colour_of_sixteen_bits_keeps_its_depth(channels):
    codes = scene(channels=channels).astype(np.uint16) * 257 // 2 + 7
    order = [2, 1, 0, 3][:channels]  # OpenCV's order

    light = dot_for_pixel(cv2.imencode(".png", codes[..., order])[1].tobytes())

    assert light == pytest.approx(luminance(codes), abs=1e-6)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_a_deep_tiff_stands_upright(orientation):
    codes = scene().astype(np.uint16) * 200 + 3
    turns = {1: 0, 3: 2, 6: -1, 8: 1}

    light = dot_for_pixel(deep_tiff(codes, orientation))

    assert light == pytest.approx(luminance(np.rot90(codes, turns[orientation])), abs=1e-6)


def test_a_printers_photo_of_four_inks_is_read():
    inks = Image.new("CMYK", (3, 1))
    for x, amounts in enumerate([(0, 0, 0, 0), (0, 0, 0, 255), (0, 255, 255, 0)]):
        inks.putpixel((x, 0), amounts)
    large = inks.resize((48, 16), Image.Resampling.NEAREST)

    light = dot_for_pixel(encoded(large, "JPEG", quality=100))

    assert light[8, [8, 24, 40]] == pytest.approx([1, 0, 0.2126], abs=0.01)


def test_colours_described_by_a_profile_are_those_of_the_profile():
    file = encoded(scene(), "PNG", icc_profile=linear_profile())

    light = dot_for_pixel(file)

    as_light = scene() / 255 @ np.array([0.2126, 0.7152, 0.0722])
    assert light == pytest.approx(as_light, abs=0.01)


def test_a_profile_of_sixteen_bit_colours_is_obeyed_before_their_depth():
    codes = scene().astype(np.uint16) * 257
    png = cv2.imencode(".png", codes[..., ::-1])[1].tobytes()
    with_profile = png_with_profile(png, linear_profile())

    light = dot_for_pixel(with_profile)

    assert light == pytest.approx(scene() / 255 @ np.array([0.2126, 0.7152, 0.0722]), abs=0.01)


@pytest.mark.parametrize(
    "profile",
    [
        b"nonsense",
        ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes(),
        ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes(),
    ],
    ids=["broken", "of another kind", "sRGB"],
)
def test_a_profile_that_says_nothing_new_changes_nothing(profile):
    light = dot_for_pixel(encoded(scene(), "PNG", icc_profile=profile))

    assert light == pytest.approx(luminance(scene()), abs=1e-6)


def test_the_sheet_learns_name_hash_and_upright_size(tmp_path):
    file = tmp_path / "at sea.jpg"
    file.write_bytes(encoded(scene(), "JPEG", exif=exif(6)))

    photo = load_photo(file)

    assert (photo.name, photo.width_px, photo.height_px) == ("at sea.jpg", 40, 60)
    assert photo.sha256 == hashlib.sha256(file.read_bytes()).hexdigest()


def grey_jpeg(width, height):
    return encoded(Image.new("L", (width, height), 188), "JPEG", quality=30)


@pytest.mark.parametrize(
    ("side_px", "dots", "decoded_px"),
    [
        (3000, 100, 3000),
        (5000, 2500, 2500),
        (5000, 2501, 5000),
        (8400, 2000, 2100),
        (8400, 2200, 4200),
        (9000, 100, 2250),
    ],
)
def test_a_large_jpeg_is_decoded_smaller_while_each_dot_keeps_a_pixel(side_px, dots, decoded_px):
    size = decoded_size(grey_jpeg(side_px, side_px), least_px=(dots, dots))

    assert size == (decoded_px, decoded_px)
    assert (decoded_px**2 <= ENOUGH_PIXELS * 1.2) or decoded_px < 2 * dots


@pytest.mark.parametrize(
    ("least_px", "size"),
    [((100, 2900), (9000, 3000)), ((5000, 9), (9000, 3000)), ((4500, 1500), (4500, 1500))],
)
def test_a_jpeg_keeps_a_pixel_for_each_dot_both_ways(least_px, size):
    assert decoded_size(grey_jpeg(9000, 3000), least_px=least_px) == size


def jpeg_that_claims(width, height):
    """Return a JPEG whose header (ITU-T T.81, frame marker SOF0) states another size."""
    data = bytearray(grey_jpeg(16, 16))
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = height.to_bytes(2, "big") + width.to_bytes(2, "big")
    return bytes(data)


def test_a_jpeg_of_two_hundred_megapixels_is_let_in_since_it_is_decoded_smaller():
    photo = load_photo(io.BytesIO(jpeg_that_claims(16_320, 12_240)))

    assert (photo.width_px, photo.height_px) == (16_320, 12_240)


LZW_TIFF = encoded(scene(600, 400), "TIFF", compression="tiff_lzw")
DEEP_PNG = cv2.imencode(".png", scene(300, 200).astype(np.uint16) * 99)[1].tobytes()
BAD_FILES = (
    ("empty.jpg", b"", NotAPhoto, "empty.jpg is empty"),
    ("notes.jpg", b"Dear diary, today the tile broke.", NotAPhoto, "is not a JPEG, PNG"),
    ("anim.gif", encoded(scene(), "GIF"), NotAPhoto, "save it as JPEG"),
    ("cut.jpg", encoded(scene(600, 400), "JPEG")[:3000], PhotoDamaged, "copy it again"),
    ("cut.png", encoded(scene(600, 400), "PNG")[:-3000], PhotoDamaged, "copy it again"),
    ("cut.webp", encoded(scene(600, 400), "WEBP")[:-900], EtchphotoError, "cut.webp"),
    ("cut.tif", LZW_TIFF[:-900], EtchphotoError, "cut.tif"),
    ("cut.heic", heic(scene(64, 48))[:-300], EtchphotoError, "cut.heic"),
    ("deep.png", DEEP_PNG[:-2000], PhotoDamaged, "copy it again"),
    ("head.jpg", encoded(scene(600, 400), "JPEG")[:150], EtchphotoError, "save it"),
    ("zero.png", png_header(0, 40), EtchphotoError, "zero.png"),
    ("bomb.jpg", jpeg_that_claims(65_000, 65_000), PhotoTooLarge, "JPEG photo of 4225 million"),
    ("bomb.png", png_header(20_000, 20_000), PhotoTooLarge, "PNG photo of 400 million pixels"),
    ("bomb2.png", png_header(60_000, 60_000), PhotoTooLarge, "3600 million"),
    ("wide.png", png_header(9_000, 9_000), PhotoTooLarge, "81 million pixels, and up to 52 mill"),
    ("measured.tif", encoded(Image.new("F", (4, 4)), "TIFF"), NotAPhoto, "a kind we do not read"),
    ("lab.tif", encoded(Image.new("LAB", (4, 4)), "TIFF"), NotAPhoto, "a kind we do not read"),
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "data", "error", "said"), BAD_FILES, ids=[row[0] for row in BAD_FILES]
)
def test_a_file_that_cannot_be_read_says_so(tmp_path, name, data, error, said):
    file = tmp_path / name
    file.write_bytes(data)

    with pytest.raises(error, match=said) as raised:
        decoded_size(file, least_px=(10, 10))

    assert isinstance(raised.value, EtchphotoError)
    assert ":" in str(raised.value)  # what is wrong, and after the colon what to do


def test_the_pixel_cap_is_looked_at_before_anything_is_decoded():
    bomb = png_header(20_000, 20_000)
    assert len(bomb) < 200

    with pytest.raises(PhotoTooLarge):
        load_photo(io.BytesIO(bomb))


def test_a_missing_file_says_so(tmp_path):
    with pytest.raises(PhotoMissing, match="there is no file"):
        load_photo(tmp_path / "gone.jpg")


def test_a_folder_in_place_of_a_file_says_so(tmp_path):
    with pytest.raises(PhotoUnreadable, match="is a folder"):
        load_photo(tmp_path)


def test_a_file_that_the_system_withholds_says_so(tmp_path):
    loop = tmp_path / "loop.jpg"
    loop.symlink_to(loop)  # unreadable for everybody, even for root

    with pytest.raises(PhotoUnreadable, match="cannot be read"):
        load_photo(loop)


PHOTOS_TO_SPOIL = (
    encoded(scene(32, 24), "JPEG"),
    encoded(scene(32, 24), "PNG"),
    encoded(scene(32, 24), "WEBP"),
    encoded(scene(32, 24), "TIFF", compression="tiff_lzw"),
    heic(scene(32, 24)),
    deep_tiff(scene(32, 24).astype(np.uint16)),
)


@examples(150)
@given(data=st.data())
def test_a_spoilt_file_gives_a_picture_or_an_error_of_ours(data):
    spoilt = bytearray(data.draw(st.sampled_from(PHOTOS_TO_SPOIL)))
    for _ in range(data.draw(st.integers(0, 6))):
        spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    end = data.draw(st.integers(0, len(spoilt)))

    try:
        light = dot_for_pixel(bytes(spoilt[: end or None]))
    except EtchphotoError:
        return

    assert light.min() >= 0
    assert light.max() <= 1
