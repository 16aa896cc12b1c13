"""Cards photographed with an invented phone, whose every fault is known, and read."""

import json
from contextlib import suppress
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from skimage import data as pictures
from skimage.transform import ProjectiveTransform, warp

from darkroom.camera import LARGE, Shot, mm_to_photo, photograph
from darkroom.cards import power_card, register_card, tone_card
from darkroom.tile import SURFACES, Tile, etch
from etchphoto.light import luminance
from etchproof.card import SOLID
from etchproof.errors import PhotoRefused, UnreadableCard
from etchproof.layout.markers import MODULES, code_of, draw_marker
from etchproof.reading.camera import read_card, read_photo, see_card
from etchproof.reading.detection import find_markers
from etchproof.reading.overlay import SPOILT_COLOUR, draw_overlay
from etchproof.reading.photograph import load_photograph
from etchproof.reading.values import Reading

pytestmark = pytest.mark.slow


def large(**how):
    """Return a shot of twelve pixels a millimetre, taken so."""
    return replace(LARGE, **how)


SMALL_AND_POOR = Shot(light_ratio=2.0, blur_px=1.5, noise_codes=2.0, quality=80)
POOR = replace(SMALL_AND_POOR, width_px=LARGE.width_px, height_px=LARGE.height_px)
SHOTS = {
    "from above": LARGE,
    "tilted": replace(POOR, tilt_degrees=35.0),
    "tilted the other way": replace(POOR, tilt_degrees=35.0, towards_degrees=120.0, seed=2),
    "tilted and brighter": replace(POOR, tilt_degrees=35.0, exposure_ev=0.5, towards_degrees=200.0),
    "tilted and darker": replace(POOR, tilt_degrees=35.0, exposure_ev=-0.5, towards_degrees=290.0),
    "upside down": replace(POOR, tilt_degrees=20.0, turn_degrees=183.0),
    "lying on its side": replace(POOR, tilt_degrees=20.0, turn_degrees=-85.0),
    "bent outwards": replace(POOR, tilt_degrees=15.0, distortion=0.015),
    "bent inwards": replace(POOR, tilt_degrees=15.0, distortion=-0.015),
    "lit from the other side": replace(POOR, tilt_degrees=25.0, light_from_degrees=200.0),
}


@pytest.fixture(scope="module")
def tile():
    return etch(power_card(), SURFACES["willing"])


@pytest.fixture(scope="module")
def careful(tile):
    return photograph(tile, LARGE).getvalue()


def read(data, *cards, **word):
    said = {"is_wiped": True} | word
    files = [BytesIO(one) for one in ([data] if isinstance(data, bytes) else data)]
    return read_card(files, cards or (power_card(),), **said)


def errors(tile, reading):
    return np.array(
        [reading.of(p.cell, p.part).reflectance - tile.truth(p.area) for p in tile.card.patches]
    )


@pytest.mark.parametrize("name", SHOTS)
def test_reflectance_is_within_two_hundredths_however_the_photo_was_taken(tile, name):
    reading, (one,) = read(photograph(tile, SHOTS[name]).getvalue())

    off = errors(tile, reading)

    assert len(one.at.found.markers) == 4
    assert float(np.sqrt((off**2).mean())) < 0.02
    assert float(np.abs(off).max()) < 0.02


def test_a_photo_cut_inside_the_bare_margin_is_read_as_well(tile, careful):
    """Half the bare margin of two millimetres lies outside the picture."""
    shot = LARGE
    beyond = tile.card.width_mm - 1, tile.card.height_mm - 1
    corners = mm_to_photo(tile, shot) @ np.array([[1, 1, 1], [*beyond, 1]], np.float64).T
    (left, right), (top, bottom) = np.rint(corners[:2] / corners[2]).astype(int).tolist()
    file = BytesIO()
    with Image.open(BytesIO(careful)) as photo:
        photo.crop((left, top, right, bottom)).save(file, "PNG")

    reading, _ = read(file.getvalue())

    assert float(np.sqrt((errors(tile, reading) ** 2).mean())) < 0.02


def test_the_patches_read_range_from_bare_to_black(tile):
    truths = [tile.truth(patch.area) for patch in tile.card.patches]

    assert min(truths) < 0.1
    assert max(truths) > 0.95


def test_a_tone_card_is_read_as_well_as_a_power_card():
    tile = etch(tone_card(), SURFACES["stubborn"])

    reading, _ = read(photograph(tile, SHOTS["tilted"]).getvalue(), tone_card())

    assert float(np.sqrt((errors(tile, reading) ** 2).mean())) < 0.02


def test_the_card_is_rectified_to_a_fraction_of_a_pixel(tile):
    shot = SHOTS["tilted"]
    photo = load_photograph(photograph(tile, shot))

    at = see_card(photo, [tile.card])

    grid = np.stack(np.meshgrid(np.linspace(2, 55, 9), np.linspace(2, 85, 9)), -1).reshape(-1, 2)
    true, found = (carry(matrix, grid) for matrix in (mm_to_photo(tile, shot), at.seen.mm_to_photo))
    off_px = np.linalg.norm(true - found, axis=1)
    assert float(np.sqrt((off_px**2).mean())) < 0.5


def test_scikit_image_agrees_on_the_rectification(tile):
    at = see_card(load_photograph(photograph(tile, SHOTS["tilted"])), [tile.card])
    card_mm = np.concatenate(
        [
            np.array([(a.left, a.top), (a.right, a.top), (a.right, a.bottom), (a.left, a.bottom)])
            for a in (marker.area for marker in tile.card.markers)
        ]
    )
    photo_px = np.concatenate([at.found.markers[m.corner] for m in tile.card.markers])

    theirs = ProjectiveTransform.from_estimate(card_mm * 0.1, photo_px)
    scale = at.seen.px_per_mm
    to_mm = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, scale]]) / scale
    seen = warp(
        at.photo.light, ProjectiveTransform(theirs.params @ to_mm), order=1,
        output_shape=at.seen.light.shape,
    )  # fmt: skip

    grid = np.array([[x, y] for x in range(2, 56, 9) for y in range(2, 86, 9)], dtype=float)
    apart_px = carry(theirs.params, grid) - carry(at.seen.mm_to_photo, grid)
    assert float(np.abs(apart_px).max()) < 0.1
    inside = seen[20:-20, 20:-20], at.seen.light[20:-20, 20:-20]
    assert float(np.abs(inside[0] - inside[1]).mean()) < 0.002


def carry(matrix, points):
    moved = np.column_stack([points, np.ones(len(points))]) @ matrix.T
    return moved[:, :2] / moved[:, 2:]


# What is refused


REFUSED = {
    "glare": (
        Shot(tilt_degrees=20, glare=((30.0, 50.0, 5.0, 0.6),)),
        "glare",
        "glare lies over",
    ),
    "far too bright": (
        Shot(exposure_ev=1.2),
        "clipped-highlights",
        "its light was cut off",
    ),
    "far too dark": (Shot(exposure_ev=-4.2), "clipped-shadows", "too dark"),
    "a little blurred": (large(blur_px=9.0), "out-of-focus", "out of focus"),
    "blurred": (Shot(blur_px=13.0), "out-of-focus", "out of focus"),
    "from afar": (large(fill=0.2), "too-small", "go nearer"),
    "cut off": (
        Shot(aside=0.4),
        "marker-missing",
        r"the markers at the card's top right and bottom right cannot be made out",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_photo_that_cannot_be_read_truthfully_is_refused_with_a_remedy(tile, name):
    shot, reason, words = REFUSED[name]

    with pytest.raises(PhotoRefused, match=words) as refused:
        read(photograph(tile, shot).getvalue())

    assert refused.value.reason == reason


def test_glare_names_the_patches_it_lies_over_and_no_others(tile):
    shot = Shot(tilt_degrees=20, glare=((30.0, 50.0, 4.0, 0.6),))

    with pytest.raises(PhotoRefused) as refused:
        read(photograph(tile, shot).getvalue())

    names = set(str(refused.value).split("patches ")[1].split(":")[0].split(", "))
    near = {p.cell for p in tile.card.patches if distance_mm(p.area, 30.0, 50.0) < 5}
    far = {p.cell for p in tile.card.patches if distance_mm(p.area, 30.0, 50.0) > 20}
    assert near <= names
    assert not names & far


def distance_mm(area, x, y):
    return float(np.hypot((area.left + area.right) / 20 - x, (area.top + area.bottom) / 20 - y))


def test_a_second_photo_with_the_glare_elsewhere_makes_a_whole_reading(tile):
    shots = (
        large(tilt_degrees=20, glare=((20.0, 35.0, 4.0, 0.6),)),
        large(tilt_degrees=20, glare=((42.0, 65.0, 4.0, 0.6),), seed=2),
    )

    reading, ones = read([photograph(tile, shot).getvalue() for shot in shots])

    assert float(np.abs(errors(tile, reading)).max()) < 0.02
    assert len(ones) == 2
    counts = {patch.photos for patch in reading.patches}
    assert counts == {1, 2}
    assert all((patch.spread is None) == (patch.photos == 1) for patch in reading.patches)


@pytest.mark.parametrize("corner", range(4))
def test_a_marker_under_a_thumb_is_named(tile, corner):
    area = next(m.area for m in tile.card.markers if m.corner == corner)
    hidden = tile.reflectance.copy()
    hidden[area.top * 4 - 20 : area.bottom * 4 + 20, area.left * 4 - 20 : area.right * 4 + 20] = 0.4
    names = ("top left", "top right", "bottom right", "bottom left")

    with pytest.raises(PhotoRefused, match=names[corner]) as refused:
        read(photograph(Tile(hidden, tile.px_per_mm, tile.card), Shot()).getvalue())

    assert refused.value.reason == "marker-missing"


def test_a_marker_with_pale_spots_on_its_border_is_still_found(tile):
    area = next(m.area for m in tile.card.markers if m.corner == 2)
    spotted = tile.reflectance.copy()
    for x, y in ((0, 20), (40, -3), (77, 50)):
        spotted[(area.top + y) * 4 : (area.top + y) * 4 + 50, (area.left + x) * 4 :][:, :44] = 0.7

    reading, (one,) = read(photograph(Tile(spotted, tile.px_per_mm, tile.card), LARGE).getvalue())

    assert len(one.at.found.markers) == 4
    assert float(np.abs(errors(tile, reading)).max()) < 0.02


def test_another_card_s_marker_is_not_taken_for_one_that_cannot_be_read(tile):
    """Two thirds of its modules agree by chance; spots keep it from being read by itself."""
    marker = next(m for m in tile.card.markers if m.corner == 2)
    side = marker.area.height // MODULES
    strange = np.kron(draw_marker(code_of(tile.card.number + 1, 2), side), np.ones((4, 4)))
    top, left = marker.area.top * 4, marker.area.left * 4
    changed = tile.reflectance.copy()
    changed[top : top + len(strange), left : left + len(strange)] = np.where(strange, 0.1, 1.0)
    for x, y in ((0, 20), (40, -3), (77, 50)):
        changed[top + y * 4 : top + y * 4 + 50, left + x * 4 :][:, :44] = 0.7

    with pytest.raises(PhotoRefused, match="bottom right") as refused:
        read(photograph(Tile(changed, tile.px_per_mm, tile.card), LARGE).getvalue())

    assert refused.value.reason == "marker-missing"


@pytest.mark.parametrize("share", [0.25, 0.2])
def test_faint_markers_are_found(tile, share):
    faint = 1 - (1 - tile.reflectance) * share

    reading, _ = read(photograph(Tile(faint, tile.px_per_mm, tile.card), SMALL_AND_POOR).getvalue())

    assert reading.card_number == 7


@pytest.mark.parametrize(
    ("data", "reason", "words"),
    [
        (b"", "not-a-picture", "empty"),
        (b"speed,power\n1000,50\n", "not-a-picture", "not a JPEG"),
        (b"\x89PNG\r\n\x1a\n" + bytes(40), "not-a-picture", "."),
    ],
)
def test_what_is_no_picture_is_refused(data, reason, words):
    with pytest.raises(PhotoRefused, match=words) as refused:
        read(data)

    assert refused.value.reason == reason


def test_half_a_photo_is_refused(careful):
    with pytest.raises(PhotoRefused, match="damaged") as refused:
        read(careful[: len(careful) // 2])

    assert refused.value.reason == "not-a-picture"


def test_a_thumbnail_is_refused_as_one(careful):
    small = BytesIO()
    Image.open(BytesIO(careful)).resize((400, 300)).save(small, "JPEG")

    with pytest.raises(PhotoRefused, match="thumbnail") as refused:
        read(small.getvalue())

    assert refused.value.reason == "thumbnail"


def test_a_photo_of_something_else_is_refused():
    file = BytesIO()
    Image.fromarray(pictures.astronaut()).resize((1024, 1024)).save(file, "JPEG")

    with pytest.raises(PhotoRefused) as refused:
        read(file.getvalue())

    assert refused.value.reason == "no-marker"


def test_a_card_not_yet_wiped_is_not_read(careful):
    with pytest.raises(PhotoRefused, match="wipe it first") as refused:
        read(careful, is_wiped=False)

    assert refused.value.reason == "not-wiped"


def test_a_card_that_was_never_burnt_here_is_refused(careful):
    with pytest.raises(PhotoRefused, match=r"card 7\b.*\b12\b") as refused:
        read(careful, power_card(number=12))

    assert refused.value.reason == "unknown-card"


def test_two_cards_of_one_number_are_told_apart_by_a_person(careful):
    with pytest.raises(PhotoRefused) as refused:
        read(careful, power_card(), power_card(steps=(5, 5)))

    assert refused.value.reason == "same-number"


@pytest.fixture(scope="module")
def spare_tile(tile):
    """Two cards a millimetre apart on one tile, as they are laid out on a spare one."""
    beside = etch(tone_card(), SURFACES["willing"])
    gap = np.ones((tile.reflectance.shape[0], round(tile.px_per_mm)), dtype=np.float32)
    below = tile.reflectance.shape[0] - beside.reflectance.shape[0]
    padded = np.pad(beside.reflectance, ((0, below), (0, 0)), constant_values=1)
    whole = np.concatenate([tile.reflectance, gap, padded], axis=1)
    shot = large(width_px=3000, height_px=2250, tilt_degrees=10)
    return beside, photograph(Tile(whole, tile.px_per_mm, tile.card), shot).getvalue()


def test_of_several_cards_on_a_spare_tile_the_one_asked_for_is_read(tile, spare_tile):
    beside, photo = spare_tile

    for one in (tile, beside):
        reading, _ = read(photo, one.card)
        assert reading.card_number == one.card.number
        assert np.abs(errors(one, reading)).max() < 0.02


def test_two_cards_in_one_picture_are_refused_where_either_may_be_meant(spare_tile):
    _, photo = spare_tile

    with pytest.raises(PhotoRefused) as refused:
        read(photo, power_card(), tone_card())

    assert refused.value.reason == "two-cards"


def test_photos_of_different_cards_make_no_reading(careful):
    other = photograph(etch(power_card(number=9), SURFACES["willing"]), Shot())

    with pytest.raises(PhotoRefused, match="different cards"):
        read([careful, other.getvalue()], power_card(), power_card(number=9))


def test_no_photo_at_all_is_refused():
    with pytest.raises(PhotoRefused) as refused:
        read([])

    assert refused.value.reason == "no-photo"


def test_a_photo_turned_by_its_camera_reads_the_same(tile, careful):
    turned = BytesIO()
    exif = Image.Exif()
    exif[274] = 6  # hold me a quarter turn
    image = Image.open(BytesIO(careful)).rotate(90, expand=True)
    image.save(turned, "JPEG", quality=95, exif=exif)

    reading, _ = read(turned.getvalue())

    assert float(np.abs(errors(tile, reading)).max()) < 0.02


def test_no_bytes_whatever_raise_anything_but_a_refusal(careful):
    chance = np.random.default_rng(5)
    for _ in range(20):
        data = bytearray(careful)
        for place in chance.integers(0, len(data), 200):
            data[place] = chance.integers(0, 256)
        with suppress(PhotoRefused):
            read(bytes(data))


# What is kept and shown


def test_a_reading_comes_back_from_what_was_stored(careful):
    reading, _ = read(careful)

    assert Reading.from_json(reading.to_json()) == reading
    assert json.loads(reading.to_json())["photos"][0]["px_per_mm"] > 6


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"version": 2}', '{"version": 1, "patches": 1}'])
def test_what_is_no_reading_is_refused(text):
    with pytest.raises(UnreadableCard):
        Reading.from_json(text)


def test_the_overlay_crosses_out_what_was_spoilt(tile):
    shots = (Shot(glare=((20.0, 35.0, 4.0, 0.6),)), Shot(seed=2))
    _, (spoilt, sound) = read([photograph(tile, shot).getvalue() for shot in shots])

    marked = [
        bool((np.asarray(draw_overlay(one)) == SPOILT_COLOUR).all(axis=-1).any())
        for one in (spoilt, sound)
    ]

    assert marked == [True, False]


def test_uneven_patches_are_seen_to_be_uneven():
    blotchy = etch(power_card(), replace(SURFACES["willing"], damage=1.6))

    reading, _ = read(photograph(blotchy, SHOTS["tilted"]).getvalue())

    strongest, good = reading.of("A6", SOLID), reading.of("F4", SOLID)
    assert strongest.unevenness > 4
    assert good.unevenness < 1.5


def test_a_register_card_has_hairlines_and_no_patches():
    tile = etch(register_card(), SURFACES["willing"])

    reading, _ = read(photograph(tile, Shot()).getvalue(), register_card())

    assert reading.patches == ()
    assert len(reading.hairlines) == len(register_card().hairlines)


def test_half_black_and_half_white_is_half_the_light():
    # checks.md 1.1: mean light 0.5 is code 188, and the mean code 127.5 is only 0.214
    codes = np.array([[0, 255] * 8] * 8, dtype=np.uint8)

    assert float(luminance(codes).mean()) == pytest.approx(0.5)


def test_markers_looked_for_among_a_few_cards_lie_where_they_do_among_all(careful):
    codes = load_photograph(BytesIO(careful)).codes

    few, every = find_markers(codes, among={7, 12}), find_markers(codes)

    assert few.number == every.number == 7
    assert all(np.array_equal(few.markers[at], every.markers[at]) for at in range(4))


def test_markers_are_found_in_a_photo_that_holds_more_than_the_card(tile):
    found = find_markers(
        load_photograph(photograph(tile, large(width_px=3000, height_px=2250, fill=0.3))).codes
    )

    assert found.number == 7
    assert sorted(found.markers) == [0, 1, 2, 3]


def test_a_soft_photo_of_a_turned_card_is_not_called_bent():
    """A blur draws the corners of markers in, the more the further they are from upright."""
    card = tone_card()
    tile = etch(card, SURFACES["willing"])
    soft = large(turn_degrees=141, tilt_degrees=20, fill=0.6, blur_px=3.4)
    at = see_card(load_photograph(photograph(tile, soft)), [card])
    sharp = see_card(load_photograph(photograph(tile, replace(soft, blur_px=1.0))), [card])
    bent = replace(sharp, seen=replace(sharp.seen, residual_mm=at.seen.residual_mm + 0.02))

    read_photo(at)

    assert at.seen.residual_mm > 0.25
    with pytest.raises(PhotoRefused) as refused:
        read_photo(bent)
    assert refused.value.reason == "bent"
