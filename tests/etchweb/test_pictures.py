import io

import numpy as np
import pytest
from PIL import Image

from etchweb.previews.store import (
    PICTURES_FOLDER,
    SMALL_HEIGHT_PX,
    SMALL_WIDTH_PX,
    THUMB_PX,
    draw_path,
    keep_picture,
    path_name,
)
from support.fakes.fake_daemon import JOB, SHA256


@pytest.fixture
def picture(tmp_path):
    path = tmp_path / "expected.png"
    Image.new("1", (1000, 500)).save(path)
    return path


def test_a_kept_picture_is_served_whole_and_small(phone, picture, tmp_path):
    keep_picture(picture, folder=tmp_path / "pictures", gcode_sha256=SHA256)

    with phone.look(f"/picture/{SHA256}.png") as whole:
        assert (whole.mimetype, whole.data) == ("image/png", picture.read_bytes())
    with phone.look(f"/picture/{SHA256}-small.jpg") as small:
        assert small.mimetype == "image/jpeg"
        assert Image.open(io.BytesIO(small.data)).size == (SMALL_WIDTH_PX, SMALL_WIDTH_PX // 2)


@pytest.mark.parametrize("size", [(1000, 500), (500, 1000), (800, 800)])
def test_a_list_gets_a_picture_of_its_own_that_weighs_little(phone, tmp_path, size):
    # Noise hardly compresses: no dotted tile weighs more.
    noise = np.random.default_rng(17).integers(0, 256, size[::-1], dtype=np.uint8)
    Image.fromarray(noise).convert("1").save(tmp_path / "noise.png")
    keep_picture(tmp_path / "noise.png", folder=tmp_path / "pictures", gcode_sha256=SHA256)

    with phone.look(f"/picture/{SHA256}-thumb.jpg") as thumb:
        assert max(Image.open(io.BytesIO(thumb.data)).size) == THUMB_PX
        assert len(thumb.data) < 8_000


def test_a_picture_may_be_kept_for_ever(phone, picture, tmp_path):
    keep_picture(picture, folder=tmp_path / "pictures", gcode_sha256=SHA256)

    with phone.look(f"/picture/{SHA256}.png") as answer:
        assert "immutable" in answer.headers["Cache-Control"]


def test_nothing_unfinished_is_left_behind(picture, tmp_path):
    keep_picture(picture, folder=tmp_path / "pictures", gcode_sha256=SHA256)

    assert sorted(path.name for path in (tmp_path / "pictures").iterdir()) == [
        f"{SHA256}-small.jpg",
        f"{SHA256}-thumb.jpg",
        f"{SHA256}.png",
    ]


def test_the_rest_of_a_cut_etch_shows_the_whole_picture(phone, daemon, picture, tmp_path):
    keep_picture(picture, folder=tmp_path / "pictures", gcode_sha256=SHA256)
    rest = "cd" * 32
    daemon.tell("loaded", job={**JOB, "sha256": rest, "picture_sha256": SHA256})

    for name in (f"{rest}-small.jpg", f"{rest}.png", f"{rest}.png"):
        with phone.look(f"/picture/{name}") as answer:
            assert answer.status_code == 200
    daemon.go_away()
    assert phone.look(f"/picture/{'ef' * 32}.png").status_code == 404


def test_where_no_small_one_was_kept_the_whole_one_serves(phone):
    assert phone.look(f"/picture/{SHA256}-small.jpg").location == f"/picture/{SHA256}.png"
    assert phone.look(f"/picture/{SHA256}-thumb.jpg").location == f"/picture/{SHA256}-small.jpg"


@pytest.mark.parametrize(
    "name",
    [
        f"{SHA256}.png",  # not there
        "..%2Fpage.sqlite3",
        "x.png",
        SHA256,
        f"{SHA256.upper()}.png",
        f"{SHA256}.png.1234",
        f"{SHA256}.png%0a",
    ],
)
def test_nothing_else_is_served(phone, name):
    assert phone.look(f"/picture/{name}").status_code == 404


def test_the_way_of_the_head_is_linked_where_it_has_been_drawn(phone, daemon, tmp_path):
    gcode = tmp_path / "square.gcode"
    gcode.write_text("G21G90G94\nM4S0\nG0X5Y5\nG1X9F1000S300\nY9\nM5\nM2\n")
    daemon.tell("loaded")
    assert "/head-path/" not in phone.look().text
    assert phone.look(f"/head-path/{SHA256}").status_code == 404
    assert phone.look("/head-path/..%2Fpage").status_code == 404

    draw_path(gcode, folder=tmp_path / PICTURES_FOLDER, gcode_sha256=SHA256)

    assert f'href="/head-path/{SHA256}"' in phone.look().text
    page = phone.look(f"/head-path/{SHA256}").text
    assert f'src="/picture/{path_name(SHA256)}"' in page
    assert "Red cross: the origin" in page
    with phone.look(f"/picture/{path_name(SHA256)}") as picture:
        assert picture.mimetype == "image/png"


def test_many_tiles_one_above_the_other_stay_small(tmp_path):
    Image.new("1", (900, 10_800)).save(tmp_path / "tall.png")
    keep_picture(tmp_path / "tall.png", folder=tmp_path / "pictures", gcode_sha256=SHA256)

    with Image.open(tmp_path / "pictures" / f"{SHA256}-small.jpg") as small:
        assert small.size == (SMALL_HEIGHT_PX // 12, SMALL_HEIGHT_PX)
