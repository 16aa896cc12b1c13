"""A sign on the page: a design without a photo, from its text to the bench; real children draw."""

import json
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from etchphoto.errors import UnfitDesign
from etchphoto.layout.composing import composed, lettering_findings, set_letterings
from etchphoto.layout.grid import Grid
from etchweb.drafts.decoration import Decoration
from etchweb.drafts.draft import Draft
from etchweb.drafts.order import NUMBER_MM, design_of
from etchweb.drafts.store import JOB_FOLDER
from etchwire.sheet import read_sheet
from support.fakes.catalogue_answers import HEAD, SURFACE
from support.fakes.fake_catalogue import ITEM, ORDER

pytestmark = pytest.mark.usefixtures("known_lasers", "waiting_for_work")

PATIENCE_S = 60
YES_OF_OLD = "86165b86e5dbc74d16cdfc81a7042d432743953439d6136d9916b9cfd1d18807"
PAIR = json.dumps([HEAD.name, SURFACE.name])
SAID = {
    "text": "23", "font": "Aileron", "size_mm": "", "stand": "middle",
    "ink": "black on white", "shape": "rectangle", "line_mm": "",
}  # fmt: skip
SIZE = {"width_mm": "30", "height_mm": "20", "pair": PAIR}


def begun(phone, **said):
    return phone.press("new/sign", form=said).location.removesuffix("/tile").strip("/")


@pytest.mark.slow
def test_a_sign_goes_from_its_text_to_the_bench_without_a_photo(phone, daemon, drafts, tmp_path):
    assert "A sign, without a photo" in phone.look("/new").text
    sign = begun(phone)
    assert phone.press(f"{sign}/tile", form=SIZE).location == f"/{sign}/design"
    assert "Type its text." in phone.look(f"/{sign}/design").text
    assert phone.look(f"/{sign}/proof").location == f"/{sign}/design"
    assert phone.press(f"{sign}/design", form=SAID | {"text": " "}).status_code == 422
    for step in ("", "/cut", "/look"):  # there is no photo to cut
        assert phone.look(f"/{sign}{step}").location == f"/{sign}/design"

    phone.press(f"{sign}/design", form=SAID | {"then": "show"})
    assert "30 × 20 mm. A mark every centimetre." in phone.look(f"/{sign}/design").text
    assert phone.press(f"{sign}/design", form=SAID | {"then": "proof"}).location.endswith("/proof")
    proof = phone.look(f"/{sign}/proof").text
    assert "Another look" not in proof
    (draft,) = drafts.all()
    made = read_sheet(drafts.folder_of(draft.id) / JOB_FOLDER)
    assert phone.press(f"{sign}/bench").location == "/"

    sheet = daemon.said["load"]["sheet"]
    assert (sheet.columns, sheet.rows, sheet.photo) == (300, 200, None)
    assert sheet.gcode_sha256 == made.gcode_sha256
    with Image.open(drafts.folder_of(draft.id) / "dots.png") as file:
        burnt = np.asarray(file.convert("L")) < 128
    assert 0.02 < burnt.mean() < 0.5
    # The same sign once more, from what is kept of the etch.
    again = drafts.begin_from(tmp_path / "made-from" / sheet.gcode_sha256)
    assert again is not None
    assert again.design_sha256("") == draft.design_sha256("")


def test_a_sign_for_an_order_begins_with_its_size_and_its_names(phone, daemon, drafts):
    begun(phone, order="3", item="7")

    (draft,) = drafts.all()
    assert (draft.width_mm, draft.height_mm) == (ITEM["width_mm"], ITEM["height_mm"])
    assert draft.decoration.text == ITEM["text"]
    assert (draft.order, draft.item) == (ORDER["id"], 7)
    assert daemon.said["note_proof"]["design_sha256"] == drafts.design_sha256(draft)


def test_a_sign_outlasts_a_page_that_was_killed_and_a_photo_that_never_came_does_not(drafts):
    sign, half = drafts.begin_sign(), drafts.begin("half.jpg")

    drafts.clear_unfinished()

    assert drafts.find(sign.id) is not None
    assert drafts.find(half.id) is None


def dots_of_sign(**added):
    sign = Draft(
        id="0" * 16, name="Sign", is_sign=True, width_mm=40.0, height_mm=20.0,
        decoration=Decoration(**{"text": "I", "font": "Aileron", "stand": "middle"} | added),
    )  # fmt: skip
    return raster(design_of(sign))


def raster(design):
    return composed(design, Grid.of(design.tile, 0.1), set_letterings(design), None)


def test_white_letters_stand_on_a_black_field_of_the_sign_s_shape_inside_its_margin():
    white = dots_of_sign(ink="white", shape="oval", line_mm=0.5)
    black = dots_of_sign(ink="burnt", shape="oval", line_mm=0.5)

    # The margin is 2 mm: the oval's axes are 36 and 16 mm long.
    assert np.flatnonzero(white[100]).tolist()[:1] == [20]
    assert np.flatnonzero(white[:, 200]).tolist()[:1] == [20]
    assert white[100, 20:24].all()
    assert not white[100, 26:29].any()  # the white line, half a millimetre inside the edge
    assert white[100, 32:60].all()
    assert not white[100, 200]  # the letter
    assert black[100, 20:24].all()
    assert not black[100, 26:60].any()
    assert black[100, 200]


def test_letters_of_a_round_sign_stay_inside_its_shape():
    text = dots_of_sign(ink="burnt", shape="circle", text="MMMM")
    y, x = np.nonzero(text)

    assert np.hypot((x + 0.5) / 10 - 20, (y + 0.5) / 10 - 10).max() < 8.0


@pytest.mark.parametrize("is_sign", [True, False])
def test_an_order_s_number_stands_small_in_the_corner_and_is_told_where_too_fine(is_sign):
    plain = Draft(
        id="0" * 16, name="order 12, item 7", is_sign=is_sign, width_mm=40.0, height_mm=20.0,
        order=12, decoration=Decoration(text="I" if is_sign else "", font="Aileron", ink="burnt"),
    )  # fmt: skip
    numbered = replace(plain, has_number=True)
    assert not numbered.is_plain
    margin_mm = design_of(plain).tile.margin_mm

    without, burnt = (raster(design_of(one)) for one in (plain, numbered))
    y, x = np.nonzero(burnt & ~without)

    # Digits are as high as capitals, but for what round ones overshoot; half a millimetre of white.
    assert (y.max() - y.min() + 1) / 10 == pytest.approx(NUMBER_MM, abs=0.15)
    assert (200 - 1 - y.max()) / 10 == pytest.approx(margin_mm + 0.5, abs=0.1)
    assert (400 - 1 - x.max()) / 10 == pytest.approx(margin_mm + 0.5, abs=0.1)
    (number,) = [
        text for text in set_letterings(design_of(numbered)).values() if text.lines[0].text == "12"
    ]
    fine = lettering_findings([number], spacing_mm=0.1, spot_mm=0.1)
    assert [one.name for one in fine] == ["lettering-too-fine"]
    assert not lettering_findings([number], spacing_mm=0.05, spot_mm=0.05)
    assert plain.design_sha256("") != numbered.design_sha256("")


def test_a_border_that_leaves_no_room_is_said():
    with pytest.raises(UnfitDesign):
        dots_of_sign(ink="white", line_mm=9.0)


def test_a_yes_to_a_picture_holds_over_a_release_that_can_do_more():
    """The number is that of this draft before there were signs."""
    draft = Draft(id="0" * 16, name="Ida.jpg", width_mm=50.0, height_mm=50.0)

    assert draft.design_sha256("ab" * 32) == YES_OF_OLD
    assert replace(draft, is_sign=True).design_sha256("ab" * 32) != YES_OF_OLD
