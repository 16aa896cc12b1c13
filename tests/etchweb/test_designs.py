"""*Lettering and shape*, as a phone without script adds them to a picture; real children draw."""

import io
import json
from datetime import UTC, datetime

import pytest
from PIL import Image

from etchweb.drafts.decoration import NOTHING_ADDED, Decoration
from etchweb.drafts.draft import Draft
from etchweb.drafts.making import proof_lines
from support.fakes.catalogue_answers import HEAD, RECIPE, SURFACE
from support.samples.photo_files import encoded, scene

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("known_lasers", "waiting_for_work")]

PATIENCE_S = 60
PAIR = json.dumps([HEAD.name, SURFACE.name])
PLAIN = {
    "text": "", "font": "Aileron", "size_mm": "", "stand": "bottom",
    "ink": "white on black", "shape": "rectangle", "soft_mm": "", "line_mm": "",
}  # fmt: skip


@pytest.fixture
def picture(phone):
    """Return the address of a draft of 24 × 16 mm that has its cut."""
    file = (io.BytesIO(encoded(scene(240, 160), "JPEG")), "Ida.jpg", "image/jpeg")
    address = phone.press("new", form={"photo": file}).location.removesuffix("/tile").strip("/")
    phone.press(f"{address}/tile", form={"width_mm": "24", "height_mm": "16", "pair": PAIR})
    phone.press(f"{address}/cut", form={"left": "0", "top": "0", "wide": "100"})
    return address


def add(phone, picture, then="show", **said):
    return phone.press(f"{picture}/design", form=PLAIN | said | {"then": then})


def only(drafts):
    (draft,) = drafts.all()
    return draft


def test_a_name_and_a_shape_are_shown_to_scale_and_go_to_the_bench(
    phone, daemon, drafts, picture, tmp_path
):
    assert "Nothing is added yet." in phone.look(f"/{picture}/design").text

    answer = add(phone, picture, text="Zoe", size_mm="4", shape="oval", soft_mm="2,5", line_mm="")
    assert (answer.status_code, answer.location) == (303, f"/{picture}/design")
    page = phone.look(answer.location).text
    with Image.open(drafts.folder_of(only(drafts).id) / "tile.jpg") as drawn:
        size_px = drawn.size

    # 24 + 12 mm of bench at ten pixels a millimetre; a CSS millimetre is 96 / 25.4 pixels
    assert size_px == (360, 280)
    assert f'src="/{picture}/tile.jpg?v=' in page
    assert 'width="136" height="106"' in page
    assert "24 × 16 mm. A mark every centimetre." in page
    assert only(drafts).decoration == Decoration(
        text="Zoe", font="Aileron", size_mm=4.0, shape="oval", soft_mm=2.5
    )
    assert add(phone, picture, then="proof", text="Zoe", shape="oval").location.endswith("/proof")
    assert phone.look(f"/{picture}/proof").status_code == 200
    assert phone.press(f"{picture}/bench").location == "/"
    sheet = daemon.said["load"]["sheet"]
    assert (sheet.title, sheet.columns, sheet.rows) == ("Ida", 240, 160)
    assert sheet.photo.width_px == 240


def test_dots_are_laid_where_the_shape_and_the_letters_are(phone, drafts, picture):
    add(phone, picture, then="proof", text="I", shape="circle", ink="black on white")
    phone.look(f"/{picture}/proof")

    with Image.open(drafts.folder_of(only(drafts).id) / "dots.png") as file:
        dots = file.convert("L")

    white = dots.getextrema()[1]
    assert dots.size == (240, 160)
    corners = [dots.crop((left, top, left + 20, top + 20)) for left in (0, 220) for top in (0, 140)]
    assert [corner.getextrema() for corner in corners] == [(white, white)] * 4


def test_what_was_added_can_be_taken_away_again(phone, drafts, picture):
    phone.look(f"/{picture}/proof")
    before = drafts.found(only(drafts))
    add(phone, picture, text="Ida")
    phone.look(f"/{picture}/proof")

    add(phone, picture)

    assert only(drafts).decoration.is_plain
    assert before is not None
    phone.look(f"/{picture}/proof")
    assert drafts.found(only(drafts)).gcode_sha256 == before.gcode_sha256


def test_thin_strokes_are_told_beside_the_tile(phone, picture):
    answer = add(phone, picture, text="small print", size_mm="1")

    assert "The thin strokes of “small print” are" in phone.look(answer.location).text


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"text": "漢"}, "has no glyph for “漢” (U+6F22)"),
        ({"text": "Margarethe", "size_mm": "12"}, "make them"),
    ],
)
def test_what_cannot_be_drawn_is_said_on_the_form_and_leads_back_from_the_proof(
    phone, picture, said, told
):
    add(phone, picture, **said)

    page = phone.look(f"/{picture}/design")
    proof = phone.look(f"/{picture}/proof")

    assert page.status_code == proof.status_code == 422
    assert told in page.text
    assert "<textarea" in page.text
    assert f'href="/{picture}/design"' in proof.text


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"font": "Comic"}, "Choose a font."),
        ({"ink": "red"}, "Choose black or white letters."),
        ({"stand": ""}, "Choose where the text stands."),
        ({"shape": "star"}, "Choose a shape."),
        ({"size_mm": "-1"}, "The height of capitals, in millimetres, must be a number from 0"),
        ({"soft_mm": "nan"}, "The soft edge, in millimetres, must be a number from 0 to 100"),
        ({"line_mm": "21"}, "The border, in millimetres, must be a number from 0 to 20"),
        ({"text": "a\n" * 7 + "b"}, "200 letters in 6 lines"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_a_sentence(phone, drafts, picture, said, told):
    answer = add(phone, picture, **said)

    assert answer.status_code == 422
    assert told in answer.text
    assert only(drafts).decoration == NOTHING_ADDED


def test_a_draft_of_an_older_page_has_nothing_added():
    assert Draft.from_table({"id": "0" * 16, "name": "a.jpg"}).decoration == NOTHING_ADDED


def test_a_photo_like_an_earlier_one_has_the_same_lettering_and_shape(phone, drafts, picture):
    add(phone, picture, text="Class of 2026", shape="rounded", line_mm="1")
    earlier = only(drafts)
    file = (io.BytesIO(encoded(scene(240, 160), "JPEG")), "Zoë.jpg", "image/jpeg")

    phone.press("new", form={"photo": file, "like": earlier.id})

    (later,) = (draft for draft in drafts.all() if draft.id != earlier.id)
    assert later.decoration == earlier.decoration


@pytest.mark.parametrize(
    ("text", "told"),
    [("", []), ("Ida\n1952", ["Lettering: Ida / 1952"])],
    ids=["none", "two lines"],
)
def test_a_proof_says_tile_size_lettering_date_and_number(text, told):
    draft = Draft(id="0" * 16, name="Ida.jpg", recipe=RECIPE, decoration=Decoration(text=text))

    lines = proof_lines(draft, (80.0, 100.0), datetime(2026, 11, 28, tzinfo=UTC))

    assert lines == [
        "Ida",
        f"80 x 100 mm on {RECIPE.surface}",
        *told,
        f"Proof {draft.proof_number}, 28 November 2026",
        "A simulation: the etched tile will differ a little.",
    ]
