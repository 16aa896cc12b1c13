import io

import pytest
from PIL import Image

from etchweb.picture_files import SMALL_WIDTH_PX, keep_picture
from fake_daemon import SHA256


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


def test_a_picture_may_be_kept_for_ever(phone, picture, tmp_path):
    keep_picture(picture, folder=tmp_path / "pictures", gcode_sha256=SHA256)

    with phone.look(f"/picture/{SHA256}.png") as answer:
        assert "immutable" in answer.headers["Cache-Control"]


def test_nothing_unfinished_is_left_behind(picture, tmp_path):
    keep_picture(picture, folder=tmp_path / "pictures", gcode_sha256=SHA256)

    assert sorted(path.name for path in (tmp_path / "pictures").iterdir()) == [
        f"{SHA256}-small.jpg",
        f"{SHA256}.png",
    ]


def test_where_no_small_one_was_kept_the_whole_one_serves(phone):
    assert phone.look(f"/picture/{SHA256}-small.jpg").location == f"/picture/{SHA256}.png"


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
