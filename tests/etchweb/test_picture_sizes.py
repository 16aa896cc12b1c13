"""A picture begins with the size of a common tile, or of the last one, so that nobody types it."""

import io

import pytest

from etchweb.drafts.sizes import BARE_EDGE_MM, COMMON_TILES_MM, chosen_size_mm, size_choices
from support.fakes.catalogue_answers import craft
from support.fakes.fake_daemon import ETCH
from support.samples.photo_files import encoded, scene

UPRIGHT, LYING, SQUARE = (300, 400), (400, 300), (300, 300)


def test_common_tiles_are_offered_with_the_last_size_before_them():
    # Common practice, no source: glazed wall tiles are sold in these sizes in millimetres, 108 mm
    # being 4 1/4 inches.
    sold = {(100, 100), (108, 108), (150, 150), (200, 200), (75, 150), (200, 300)}
    values = [words for _, words in size_choices((40.0, 52.5))]

    assert sold <= set(COMMON_TILES_MM)
    assert values[0] == "As last time: 40 × 52.5 mm"
    assert len(values) == len(COMMON_TILES_MM) + 1
    assert len(size_choices(None)) == len(COMMON_TILES_MM)


@pytest.mark.parametrize(
    ("value", "photo_px", "last_mm", "size_mm"),
    [
        ("75x150", UPRIGHT, None, (65, 140)),
        ("75x150", LYING, None, (140, 65)),
        ("100x100", LYING, None, (90, 90)),
        ("last", LYING, (40, 52), (52, 40)),
        ("last", UPRIGHT, (52, 40), (40, 52)),
        ("last", SQUARE, (52, 40), (52, 40)),
        ("last", SQUARE, None, None),
        ("1x1", SQUARE, None, None),
        ("", SQUARE, (52, 40), None),
    ],
)
def test_the_picture_lies_as_its_photo_does_within_a_bare_edge(value, photo_px, last_mm, size_mm):
    assert chosen_size_mm(value, photo_px, last_mm) == size_mm


def test_every_common_tile_leaves_room_for_a_picture():
    assert all(min(tile) > 4 * BARE_EDGE_MM for tile in COMMON_TILES_MM)


@pytest.fixture
def known(daemon, waiting_for_work):
    daemon.answers |= craft()
    return daemon


def send(phone, **form):
    photo = (io.BytesIO(encoded(scene(300, 400), "JPEG")), "face.jpg")
    return phone.press("new", form={"photo": photo, **form})


def pair_of(page):
    return page.text.split('name="pair" value="', 1)[1].split('"', 1)[0].replace("&#34;", '"')


@pytest.mark.slow
def test_a_size_beside_the_photo_leaves_the_step_of_the_tile_out(phone, known):
    pair = pair_of(phone.look("/new"))

    as_last, asked = send(phone, pair=pair, size="last"), send(phone, pair=pair, size="")
    page = phone.look(as_last.location)

    assert as_last.location.endswith("/cut")
    assert f"{ETCH['width_mm']:g} × {ETCH['height_mm']:g} mm" in page.text
    assert asked.location.endswith("/tile")


@pytest.mark.slow
@pytest.mark.parametrize("wrong", [{"pair": ""}, {"pair": "[]"}, {"size": "9x9"}])
def test_what_cannot_be_meant_is_asked_for_in_the_step_of_the_tile(phone, known, wrong):
    pair = pair_of(phone.look("/new"))

    answer = send(phone, **{"pair": pair, "size": "100x100"} | wrong)

    assert answer.location.endswith("/tile")


@pytest.mark.slow
def test_the_step_of_the_tile_takes_a_common_tile_instead_of_figures(phone, known):
    pair = pair_of(phone.look("/new"))
    step = send(phone, pair=pair, size="").location

    cut = phone.press(
        step[1:], form={"pair": pair, "size": "75x150", "width_mm": "33", "height_mm": "44"}
    )

    assert "65 × 140 mm" in phone.look(cut.location).text


def test_without_the_box_a_photo_can_still_be_chosen(phone, daemon):
    daemon.go_away()

    page = phone.look("/new")

    assert page.status_code == 200
    assert 'name="size"' not in page.text
