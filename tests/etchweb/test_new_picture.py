"""*New picture*, as a phone without script goes through it."""

import html
import io
import json
import re
import shutil
import time
from dataclasses import replace

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from etchphoto.framing import MM_PER_INCH
from etchphoto.job.order import FROM_TEST_CARD
from etchphoto.proof_sheet import SHEET_PX
from etchweb.app import create_app
from etchweb.drafts import views as new_picture
from etchweb.drafts.making import make_picture
from etchweb.drafts.store import EARLY_NAME, Drafts
from etchweb.server import csrf_and_headers as guard
from etchweb.server.csrf_and_headers import NO_FILE_FORM
from etchweb.server.picker import NO_PHOTO, shown_name
from etchweb.workers.work import MOST_WAITING, WORKER
from etchwire.catalogue.dot import Dot
from etchwire.catalogue.examples import PRACTICE_SURFACE
from etchwire.errors import Refused
from etchwire.retention import DAY_S, DRAFTS, ORDERED_DRAFTS
from support.fakes.catalogue_answers import HEAD, OTHER, RECIPE, SURFACE, craft, head_entry, recipe
from support.fakes.fake_daemon import ETCH, TOO_LATE, FakeDaemon
from support.samples.photo_files import PHOTOGRAPHS, encoded, png_header, scene

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("known_lasers", "waiting_for_work")]

PATIENCE_S = 60
CAMERA = next(path for name, path, _ in PHOTOGRAPHS if name == "camera")
TEN_WATTS = json.dumps([HEAD.name, SURFACE.name])
UNTRIED = json.dumps([HEAD.name, OTHER.name])
TONES = dict.fromkeys(("lighter", "contrast", "local_contrast", "sharpness", "open_shadows"), "0")
LOOK = {"halftone": "floyd-steinberg", **TONES}


def send(phone, data, name="photo.jpg", kind="image/jpeg", **headers):
    file = (io.BytesIO(data), name, kind)
    return phone.press("new", form={"photo": file}, **headers)


@pytest.fixture(scope="module")
def first_sent(tmp_path_factory):
    """Where the draft lies that `sent` begins with, once a test has sent its photograph."""
    return tmp_path_factory.mktemp("sent") / "drafts"


@pytest.fixture
def sent(phone, first_sent, tmp_path):
    """Return the address of a draft of a small photograph, its first step done."""
    drafts = tmp_path / "drafts"
    if first_sent.exists():
        shutil.copytree(first_sent, drafts, dirs_exist_ok=True)
    else:
        send(phone, encoded(scene(120, 80), "JPEG"), name="Ida's hands.jpg")
        shutil.copytree(drafts, first_sent)
    (draft,) = drafts.iterdir()
    return f"new/{draft.name}"


def size(width="24", height="16", pair=TEN_WATTS, **more):
    return {"width_mm": width, "height_mm": height, "pair": pair, **more}


def cut(**changes):
    return {"left": "0", "top": "0", "wide": "100"} | changes


@pytest.fixture
def cut_out(phone, sent):
    """Return the address of a draft that has its tile and its cut."""
    phone.press(f"{sent}/tile", form=size())
    phone.press(f"{sent}/cut", form=cut())
    return sent


def kept(drafts):
    (draft,) = drafts.all()
    return draft


def test_a_photo_goes_to_the_bench_in_five_short_steps(
    real_children, phone, daemon, drafts, tmp_path
):
    answer = send(phone, CAMERA.read_bytes(), name="camera.png", kind="image/png")
    draft = answer.location.removesuffix("/tile").strip("/")
    assert PRACTICE_SURFACE in phone.look(answer.location).text

    answer = phone.press(f"{draft}/tile", form=size("40", "30"))
    assert answer.location == f"/{draft}/cut"
    answer = phone.press(f"{draft}/cut", form=cut(left="10", top="5", wide="80"))
    assert answer.location == f"/{draft}/look"
    answer = phone.press(f"{draft}/look", form=LOOK | {"halftone": "jarvis", "contrast": "20"})
    assert answer.location == f"/{draft}/proof"
    proof = phone.look(answer.location).text
    assert "40 × 30 mm" in proof
    assert "400 × 300" in proof
    answer = phone.press(f"{draft}/bench")

    assert answer.location == "/"
    sheet = daemon.said["load"]["sheet"]
    assert (sheet.title, sheet.rows, sheet.columns) == ("camera", 300, 400)
    assert (sheet.head, sheet.recipe) == (HEAD, RECIPE)
    assert sheet.photo.width_px == 512
    pictures = {path.name for path in (tmp_path / "pictures").iterdir()}
    assert pictures == {
        f"{sheet.gcode_sha256}{ending}" for ending in (".png", "-small.jpg", "-thumb.jpg")
    }


def test_look_and_proof_say_that_the_etch_would_end_after_closing_time(phone, daemon, cut_out):
    phone.press(f"{cut_out}/look", form=LOOK)
    before = [phone.look(f"/{cut_out}/{step}").text for step in ("look", "proof")]
    daemon.answers["confirmations"] = {"stays": TOO_LATE, "too_late": TOO_LATE}

    look, proof = (phone.look(f"/{cut_out}/{step}").text for step in ("look", "proof"))

    assert not any("closing time" in page for page in before)
    assert f'<p class="trouble">{TOO_LATE}</p>' in look
    assert proof.index(TOO_LATE) < proof.index("Load it")


def test_a_proof_can_be_saved_to_be_sent_and_has_a_number_of_its_own(phone, cut_out, drafts):
    numbers = []
    for contrast in ("0", "40"):
        phone.press(f"{cut_out}/look", form=LOOK | {"contrast": contrast})
        page = phone.look(f"/{cut_out}/proof").text
        number = kept(drafts).proof_number
        assert f"Proof {number}." in page
        assert f"proof {number}.jpg" in html.unescape(page)
        numbers.append(number)

    assert len(set(numbers)) == 2
    with phone.look(f"/{cut_out}/proof.jpg") as answer:
        sheet = Image.open(io.BytesIO(answer.data))
        assert sheet.width == SHEET_PX
        margin_px = 60
        printed_mm = (sheet.width - 2 * margin_px) / sheet.info["dpi"][0] * MM_PER_INCH
        assert printed_mm == pytest.approx(24, rel=0.01)


def test_what_lies_on_the_bench_takes_no_more_room_and_can_be_made_again(
    phone, daemon, drafts, cut_out
):
    phone.look(f"/{cut_out}/proof")
    phone.press(f"{cut_out}/bench")
    assert not (drafts.folder_of(kept(drafts).id) / "job").exists()

    assert phone.press(f"{cut_out}/bench").location == f"/{cut_out}/proof"
    phone.look(f"/{cut_out}/proof")
    assert phone.press(f"{cut_out}/bench").location == "/"


def test_what_a_phone_gets_to_see_was_made_here(phone, cut_out):
    assert phone.look(f"/{cut_out}/look").status_code == 200
    phone.press(f"{cut_out}/look", form=LOOK | {"halftone": "threshold"})
    assert phone.look(f"/{cut_out}/proof").status_code == 200

    for name in (
        "screen.jpg",
        "cut-eye.jpg",
        "cut-red.jpg",
        "cut-blue.jpg",
        "seen.jpg",
        "dots.png",
        "tried.png",
        "mixes.jpg",
    ):
        with phone.look(f"/{cut_out}/{name}") as picture:
            assert Image.open(io.BytesIO(picture.data)).size >= (100, 60)


@pytest.mark.parametrize("name", ["photo", "draft.json", "..%2Fphoto", "job", "found.json"])
def test_nothing_else_of_a_draft_is_sent_out(phone, sent, name):
    assert phone.look(f"/{sent}/{name}").status_code == 404


@pytest.mark.parametrize("draft", ["0123456789abcdef", "..", "x", "0" * 15, "0123456789ABCDEF"])
@pytest.mark.parametrize("step", ["", "/tile", "/cut", "/look", "/proof", "/work.json"])
def test_a_draft_that_is_not_there_is_not_found(phone, draft, step):
    assert phone.look(f"/new/{draft}{step}").status_code in (308, 404)


# What phones and people send instead of a photo.


def jpeg(size=(300, 200)):
    return encoded(scene(*size), "JPEG")


BAD_PHOTOS = {
    "empty": (b"", 415, "is empty"),
    "text": (b"Dear box, here is my photo.", 415, "is not a"),
    "svg": (b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>", 415, "is not a"),
    "page": (b"<!doctype html><script>alert(1)</script>", 415, "is not a"),
    "gif": (encoded(scene(), "GIF"), 415, "is not a"),
    "truncated": (jpeg()[: len(jpeg()) // 2], 422, "was not copied whole"),
    "header alone": (jpeg()[:30], 422, "header makes no sense"),
    "bomb": (png_header(60_000, 60_000), 413, "million pixels"),
    "no size": (png_header(0, 10), 415, "is not a"),
    "pdf": (b"%PDF-1.7\n" + jpeg(), 415, "is not a"),
    "zip in front": (b"PK\x03\x04" + jpeg(), 415, "is not a"),
}


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF", "HEIF"])
def test_what_phones_make_is_taken(phone, kind):
    pillow_heif.register_heif_opener()

    answer = send(phone, encoded(Image.fromarray(scene(64, 48)), kind), name="IMG_0001.HEIC")

    assert answer.status_code == 303
    with phone.look(answer.location.replace("/tile", "/screen.jpg")) as picture:
        assert Image.open(io.BytesIO(picture.data)).size == (64, 48)


@pytest.mark.parametrize("name", BAD_PHOTOS)
def test_a_bad_photo_is_refused_with_a_sentence_and_nothing_is_kept(phone, drafts, name):
    data, status, sentence = BAD_PHOTOS[name]

    answer = send(phone, data, name="ida and tom.jpg")

    assert 'role="alert">ida and tom.jpg ' in answer.text
    assert sentence in answer.text
    assert answer.status_code == status
    assert drafts.all() == []


def test_a_polyglot_is_only_ever_a_picture(phone, tmp_path):
    data = jpeg() + b"<script>alert(1)</script>" + b"PK\x03\x04"

    answer = send(phone, data, name="both.html", kind="text/html")

    draft = answer.location.removesuffix("/tile")
    with phone.look(f"{draft}/screen.jpg") as picture:
        assert picture.mimetype == "image/jpeg"
        assert b"script" not in picture.data
        assert picture.headers["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize(
    ("sent", "shown"),
    [
        ("../../etc/passwd", "passwd"),
        ("/tmp/x/" + "a" * 300 + ".jpg", "a" * 52 + "aaaa.jpg"),
        ("<b>bold</b>.jpg", "b>.jpg"),
        ("tab\there\x00.jpg", "tabhere.jpg"),
        ("...", "photo"),
    ],
)
def test_a_photos_name_is_shown_and_never_a_path(phone, drafts, tmp_path, sent, shown):
    before = set(tmp_path.rglob("*"))

    assert send(phone, jpeg(), name=sent).status_code == 303

    assert kept(drafts).name == shown
    new = {path.relative_to(tmp_path).parts[0] for path in set(tmp_path.rglob("*")) - before}
    assert new == {"drafts"}
    assert re.fullmatch("[0-9a-f]{16}", kept(drafts).id)


def test_the_other_slash_parts_folders_too():
    assert shown_name("C:\\photos\\cat.jpg") == "cat.jpg"


def test_no_photo_at_all_is_told(phone):
    answer = phone.press("new", form={"photo": (io.BytesIO(b""), "")})

    assert answer.status_code == 422
    assert f'role="alert">{NO_PHOTO}<' in answer.text


def test_another_kind_of_body_is_refused(phone):
    answer = phone.client.post(
        "/new", data=jpeg(), content_type="image/jpeg", headers={"Origin": "http://localhost"}
    )

    assert answer.status_code == 415
    assert NO_FILE_FORM in answer.text


def test_a_photo_above_the_cap_is_refused(phone, drafts, monkeypatch):
    monkeypatch.setitem(guard.BRINGS_FILES, "new_picture.upload", 50_000)

    answer = send(phone, b"\xff\xd8" + bytes(70_000))

    assert answer.status_code == 413
    assert drafts.all() == []


def test_a_large_form_elsewhere_is_still_refused(phone, sent):
    assert phone.press(f"{sent}/tile", form=size(more="x" * 20_000)).status_code == 413


def test_a_script_hears_where_to_go_on_or_why_not(phone):
    went = send(phone, jpeg(), Accept="application/json").json
    refused = send(phone, b"no", Accept="application/json")

    assert went["next"].endswith("/tile")
    assert "is not a" in refused.json["sentence"]


@pytest.mark.parametrize("role", ["watch"])
def test_a_phone_that_only_watches_makes_no_pictures(pair_phone, role):
    watching = pair_phone(role, time.time())

    assert watching.look("/new").status_code == 403
    assert send(watching, jpeg()).status_code == 403


def test_a_stranger_is_shown_how_to_pair_and_nothing_is_read(stranger, drafts):
    assert stranger.look("/new").status_code == 403
    assert send(stranger, jpeg()).status_code == 403
    assert drafts.all() == []


def test_a_foreign_page_sends_no_photo(phone, drafts):
    answer = send(phone, jpeg(), origin="http://elsewhere.example")

    assert answer.status_code == 403
    assert drafts.all() == []


# The steps.


def test_the_size_starts_in_the_photos_own_shape(phone, sent):
    page = phone.look(f"/{sent}/tile").text

    assert re.search(r'name="width_mm"[^>]*value="100"', page)
    assert re.search(r'name="height_mm"[^>]*value="67"', page)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        (size(width="0"), "width in millimetres must be a number from 1"),
        (size(width="-3"), "width in millimetres must be a number"),
        (size(width="NaN"), "width in millimetres must be a number"),
        (size(width="1e308"), "width in millimetres must be a number from 1 to 2000"),
        (size(height="inf"), "height in millimetres must be a number"),
        (size(width="500"), "moves only 400 × 400 mm"),
        (size(pair="[]"), "Choose which laser"),
        (size(pair="7"), "Choose which laser"),
        (size(pair="{"), "Choose which laser"),
        (size(pair="[" * 5000), "Choose which laser"),
        (size(feed_mm_per_min="1000"), "The power in percent must be a number"),
        (size(feed_mm_per_min="1", power_percent="101", line_spacing_mm=".1"), "from 0.1 to 100"),
    ],
)
def test_a_size_or_setting_that_cannot_be_meant_is_told(phone, sent, form, said):
    answer = phone.press(f"{sent}/tile", form=form)

    assert answer.status_code == 422
    assert said in answer.text


def test_a_picture_is_called_as_the_person_says(phone, sent, drafts, daemon):
    phone.press(f"{sent}/tile", form=size(called="  Ida’s\nhands "))

    assert kept(drafts).title == "Ida’s hands"
    assert "Ida’s hands" in phone.look("/new").text


def test_without_a_height_the_picture_keeps_the_shape_of_its_cut(phone, sent, drafts):
    phone.press(f"{sent}/tile", form=size(width="30", height=""))
    assert kept(drafts).height_mm == 20  # the photo has 120 × 80 pixels

    phone.press(f"{sent}/tile", form=size("20", "20"))
    phone.press(f"{sent}/cut", form=cut(wide="50"))
    phone.press(f"{sent}/tile", form=size("25", ""))
    assert kept(drafts).height_mm == 25


def test_another_photo_takes_over_what_was_decided_for_an_old_one(phone, cut_out, drafts):
    phone.press(f"{cut_out}/look", form=LOOK | {"contrast": "30", "grey_mix": "red", "fade": "40"})
    old = kept(drafts)
    assert f'<option value="{old.id}">Like Ida' in phone.look("/new").text

    answer = phone.press("new", form={"photo": (io.BytesIO(jpeg()), "other.jpg"), "like": old.id})

    new = next(draft for draft in drafts.all() if draft.id != old.id)
    assert answer.location == f"/new/{new.id}/cut"
    for name in ("width_mm", "height_mm", "head", "recipe", "contrast", "grey_mix", "fade"):
        assert getattr(new, name) == getattr(old, name)
    assert (new.crop, new.oval, new.title) == (None, None, "other")


def test_without_a_recipe_a_test_tile_is_offered_and_nothing_goes_on(phone, sent):
    answer = phone.press(f"{sent}/tile", form=size(pair=UNTRIED))
    assert answer.location == f"/{sent}/tile"

    assert "New box? One test card first." in phone.look(f"/{sent}/tile").text
    assert phone.look(f"/{sent}/look").location == f"/{sent}/tile"
    assert phone.look(f"/{sent}/proof").location == f"/{sent}/tile"


def test_the_laser_tile_and_paint_of_the_last_etch_are_chosen_already(phone, daemon, sent):
    last = {**ETCH, "head": HEAD.name, "surface": OTHER.name}
    daemon.answers["runs"] = {"runs": [last], "next_before": None, "notes": []}

    page = phone.look(f"/{sent}/tile").text

    assert re.search(r'value="[^"]*blue box[^"]*" required checked', page)


def test_settings_typed_by_hand_serve_where_there_is_no_recipe(phone, sent, drafts):
    hand = {"feed_mm_per_min": "1200,5", "power_percent": "80", "line_spacing_mm": "0.12"}

    answer = phone.press(f"{sent}/tile", form=size(pair=UNTRIED, **hand))

    assert answer.location == f"/{sent}/cut"
    assert kept(drafts).recipe.feed_mm_per_min == 1200.5
    assert kept(drafts).recipe.power_ratio == 0.8


@pytest.mark.parametrize(
    ("speed", "power", "is_said"),
    [("4000", "60", True), ("4000", "100", False), ("900", "60", False)],
)
def test_settings_typed_by_hand_tell_of_pulses_as_long_as_a_dot(
    phone, sent, drafts, speed, power, is_said
):
    hand = {"feed_mm_per_min": speed, "power_percent": power, "line_spacing_mm": "0.1"}

    phone.press(f"{sent}/tile", form=size(pair=UNTRIED, **hand))

    assert kept(drafts).caution.startswith("These settings were typed by hand.")
    assert ("(computed, not measured)" in kept(drafts).caution) is is_said


@pytest.mark.parametrize(
    ("now", "words"),
    [
        ({"batch": "another"}, "the box of tiles changed"),
        ({"paint": "glossy"}, "the paint changed. Another paint needs a power card of its own."),
        ({"can": "9"}, "the can changed. A check strip shows whether it still holds."),
        ({"coating": "roller", "coats": 1}, "how it is coated and the number of coats changed"),
    ],
)
def test_what_changed_since_the_recipe_was_found_is_told(phone, daemon, sent, now, words):
    daemon.answers |= craft(**now)

    assert words in phone.look(f"/{sent}/tile").text
    phone.press(f"{sent}/tile", form=size())
    phone.press(f"{sent}/cut", form=cut())
    assert words in phone.look(f"/{sent}/proof").text


def test_a_retired_recipe_is_none(phone, daemon, sent):
    daemon.answers |= craft(recipe(is_in_force=False, retired_at_utc="2026-11-25T10:00:00+00:00"))

    assert "No recipe yet" in phone.look(f"/{sent}/tile").text


def test_a_recipe_may_bring_its_tone_curve(phone, daemon, sent, drafts):
    curve = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.2, 0.4]}
    daemon.answers |= craft(recipe(tone_curve=curve))
    phone.press(f"{sent}/tile", form=size())
    phone.press(f"{sent}/cut", form=cut())

    phone.look(f"/{sent}/proof")

    assert drafts.found(kept(drafts)).burnt < 0.4


def test_a_tone_curve_measured_with_another_halftone_is_left_out_and_the_page_says_so(
    phone, daemon, sent, drafts
):
    curve = {"wanted": [0.0, 0.5, 1.0], "to_burn": [0.0, 0.2, 0.4]}
    daemon.answers |= craft(recipe(tone_curve=curve, halftone="jarvis"))
    phone.press(f"{sent}/tile", form=size())
    phone.press(f"{sent}/cut", form=cut())
    phone.press(f"{sent}/look", form=LOOK | {"halftone": "floyd-steinberg"})

    page = phone.look(f"/{sent}/proof").text

    assert "another halftone" in page
    assert drafts.found(kept(drafts)).burnt > 0.4


SMALL = size(width="9", height="6")  # for dots that are searched for
DOT = Dot(spread_dots=0.45, threshold=0.2, scale=0.3, steepness=2.5, black=0.06)


def test_a_tone_curve_that_is_worked_out_for_another_halftone_is_said_on_the_page(
    phone, daemon, sent
):
    curve = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0], "dot": DOT.to_table()}
    daemon.answers |= craft(recipe(tone_curve=curve, halftone="jarvis"))
    phone.press(f"{sent}/tile", form=size())
    phone.press(f"{sent}/cut", form=cut())
    phone.press(f"{sent}/look", form=LOOK | {"halftone": "floyd-steinberg"})

    page = phone.look(f"/{sent}/proof").text

    assert "the tone curve for this one is worked out from the dot" in page
    assert "left out" not in page


def test_dots_from_the_test_card_are_offered_with_their_gain_where_one_told_the_dot(
    phone, daemon, sent, drafts
):
    curve = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0], "dot": DOT.to_table()}
    daemon.answers |= craft(recipe(tone_curve=curve))
    phone.press(f"{sent}/tile", form=SMALL)
    phone.press(f"{sent}/cut", form=cut())

    page = phone.look(f"/{sent}/look").text
    phone.press(f"{sent}/look", form=LOOK | {"halftone": FROM_TEST_CARD})
    proof = phone.look(f"/{sent}/proof").text

    assert "from your test card" in page
    assert "% less grain" in page
    assert page.count("to etch") == 4
    assert 'value="jarvis" checked' in page
    assert "worked out from your test card" in proof
    assert drafts.found(kept(drafts)).burnt > 0


def test_while_dots_are_worked_out_the_tile_is_there_to_be_seen(phone, daemon, sent, drafts):
    curve = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0], "dot": DOT.to_table()}
    daemon.answers |= craft(recipe(tone_curve=curve))
    phone.press(f"{sent}/tile", form=SMALL)
    phone.press(f"{sent}/look", form=LOOK | {"halftone": FROM_TEST_CARD})
    folder = drafts.folder_of(kept(drafts).id)
    is_there = []

    make_picture(folder, lambda _: is_there.append((folder / EARLY_NAME).exists()))

    assert not is_there[0]
    assert is_there.index(True) < len(is_there) - 3
    assert not (folder / EARLY_NAME).exists()


@pytest.mark.parametrize(("verdict", "chosen"), [("good", "test-card"), ("patchy", "jarvis")])
def test_dots_from_the_test_card_are_chosen_beforehand_once_a_tile_with_them_was_good(
    phone, daemon, sent, drafts, verdict, chosen
):
    curve = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0], "dot": DOT.to_table()}
    daemon.answers |= craft(recipe(tone_curve=curve)) | {
        "runs": {"runs": [ETCH | {"verdict": verdict}], "next_before": None, "notes": []},
        "run": ETCH | {"sheet": ETCH["sheet"] | {"halftone": FROM_TEST_CARD}},
    }

    phone.press(f"{sent}/tile", form=size())

    assert kept(drafts).halftone == chosen


def test_where_nothing_was_measured_the_spot_chooses_and_the_page_says_what_a_card_would_win(
    phone, cut_out
):
    page = phone.look(f"/{cut_out}/look").text

    assert 'value="jarvis" checked' in page
    assert "Greys not measured" in page
    assert "steps of lightness at arm" in page


def test_work_that_is_no_longer_wanted_is_cancelled(phone, cut_out, real_children, monkeypatch):
    monkeypatch.setattr(new_picture, "WAIT_S", 0.0)
    page = phone.look(f"/{cut_out}/look").text

    answer = phone.press(f"{cut_out}/cancel")

    assert "Cancel" in page
    assert answer.location.endswith("/cut")
    assert phone.look(f"/{cut_out}/work.json").json == {"share": 1.0, "over": True, "early": ""}


def test_without_a_dot_only_kernels_are_offered(phone, daemon, sent):
    curve = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0]}
    daemon.answers |= craft(recipe(tone_curve=curve))
    phone.press(f"{sent}/tile", form=size())
    phone.press(f"{sent}/cut", form=cut())

    assert "from your test card" not in phone.look(f"/{sent}/look").text


def test_dots_from_the_test_card_do_not_follow_to_another_recipe(phone, daemon, sent, drafts):
    curve = {"wanted": [0.0, 1.0], "to_burn": [0.0, 1.0], "dot": DOT.to_table()}
    daemon.answers |= craft(recipe(tone_curve=curve))
    phone.press(f"{sent}/tile", form=SMALL)
    phone.press(f"{sent}/cut", form=cut())
    phone.press(f"{sent}/look", form=LOOK | {"halftone": FROM_TEST_CARD})
    daemon.answers |= craft(recipe(tone_curve=None))

    phone.press(f"{sent}/tile", form=SMALL)

    assert kept(drafts).halftone != FROM_TEST_CARD


def test_while_the_daemon_is_away_the_page_says_so(phone, daemon, sent):
    daemon.go_away()

    answer = phone.look(f"/{sent}/tile")

    assert answer.status_code == 503
    assert "does not answer" in answer.text


def test_a_quarter_turn_swaps_the_sides_and_forgets_the_cut(phone, cut_out, drafts):
    answer = phone.press(f"{cut_out}/cut", form={"turn": "right"})

    assert (kept(drafts).quarters, kept(drafts).crop) == (1, None)
    page = phone.look(answer.location).text
    assert 'data-width="80" data-height="120"' in page
    assert 'transform="translate(80 0) rotate(90)"' in page


def test_a_mirrored_photo_takes_its_cut_and_its_oval_along_and_turns_as_it_is_seen(
    phone, cut_out, drafts
):
    phone.press(f"{cut_out}/cut", form=cut(left="10", top="5", wide="50"))
    oval = {"oval_x": "25", "oval_y": "50", "oval_wide": "20", "oval_high": "40"}
    phone.press(f"{cut_out}/look", form=LOOK | oval | {"face_light": "50"})
    assert kept(drafts).oval == pytest.approx((0.225, 0.3, 0.05, 0.1))

    answer = phone.press(f"{cut_out}/cut", form={"turn": "mirror"})

    assert kept(drafts).crop == pytest.approx((0.4, 0.05, 0.9, 0.55))
    assert kept(drafts).oval == pytest.approx((0.775, 0.3, 0.05, 0.1))
    assert 'transform="translate(120 0) scale(-1 1) rotate(0)"' in phone.look(answer.location).text
    phone.press(f"{cut_out}/cut", form={"turn": "right"})
    assert kept(drafts).quarters == 3


def test_a_face_is_lightened_and_only_there(phone, drafts):
    grey = Image.new("L", (120, 80), 60)
    draft = send(phone, encoded(grey, "PNG")).location.removesuffix("/tile").strip("/")
    phone.press(f"{draft}/tile", form=size())
    phone.press(f"{draft}/cut", form=cut())
    oval = {"oval_x": "25", "oval_y": "50", "oval_wide": "30", "oval_high": "60"}

    phone.press(f"{draft}/look", form=LOOK | oval | {"face_light": "100"})
    phone.look(f"/{draft}/proof")

    with phone.look(f"/{draft}/dots.png") as dots:
        tile = np.asarray(Image.open(io.BytesIO(dots.data)).convert("L")) / 255
    rows, columns = tile.shape
    face = tile[rows // 3 : rows * 2 // 3, columns // 5 : columns * 3 // 10]
    assert face.mean() > tile[:, columns // 2 :].mean() + 0.05


def test_a_photo_without_colour_is_asked_for_no_mix_of_colours(phone, cut_out):
    assert "Reds lighter" in phone.look(f"/{cut_out}/look").text
    grey = encoded(Image.fromarray(scene(120, 80)).convert("L"), "JPEG")
    draft = send(phone, grey).location.removesuffix("/tile").strip("/")
    phone.press(f"{draft}/tile", form=size())
    phone.press(f"{draft}/cut", form=cut())

    assert "Reds lighter" not in phone.look(f"/{draft}/look").text


def test_another_mix_of_colours_makes_another_tile(phone, cut_out, drafts):
    burnt = {}
    for mix in ("eye", "red", "blue"):
        phone.press(f"{cut_out}/look", form=LOOK | {"grey_mix": mix})
        phone.look(f"/{cut_out}/proof")
        burnt[mix] = drafts.found(kept(drafts)).burnt

    assert len(set(burnt.values())) == 3
    assert phone.press(f"{cut_out}/look", form=LOOK | {"grey_mix": "mauve"}).status_code == 422


NIGHT = Image.new("L", (120, 80), 20)
STRIPES = Image.fromarray(np.uint8([0, 255] * 6).repeat(10)[np.newaxis].repeat(80, 0))
FOG = Image.fromarray(np.linspace(120, 190, 120).astype(np.uint8)[np.newaxis].repeat(80, 0))


@pytest.mark.parametrize(
    ("picture", "finding", "warning", "button"),
    [
        (NIGHT, "dark-background", "The background is dark", "Fade the background to white"),
        (STRIPES, "black-and-white-art", "Choose lettering", "Etch it as lettering"),
        (FOG, "flat", "The picture is flat", "Raise the contrast"),
    ],
    ids=["night", "stripes", "fog"],
)
def test_a_warning_carries_the_button_that_mends_it(phone, picture, finding, warning, button):
    draft = send(phone, encoded(picture, "PNG")).location.removesuffix("/tile").strip("/")
    phone.press(f"{draft}/tile", form=size())
    phone.press(f"{draft}/cut", form=cut())
    proof = phone.look(f"/{draft}/proof").text
    assert warning in proof
    assert f'action="/{draft}/mend/{finding}"' in proof
    assert button in proof

    answer = phone.press(f"{draft}/mend/{finding}")

    assert answer.location == f"/{draft}/proof"
    assert warning not in phone.look(answer.location).text


def test_what_nobody_knows_to_mend_is_not_found(phone, cut_out):
    assert phone.press(f"{cut_out}/mend/much-burnt").status_code == 404


def test_a_cut_that_would_leave_the_photo_is_moved_back(phone, cut_out, drafts):
    phone.press(f"{cut_out}/cut", form=cut(left="90", top="90", wide="50"))

    assert kept(drafts).crop == pytest.approx((0.5, 0.5, 1.0, 1.0))


@pytest.mark.parametrize("wrong", [{"left": "x"}, {"top": "101"}, {"wide": "0"}, {"wide": "nan"}])
def test_a_cut_that_is_none_is_told(phone, cut_out, wrong):
    answer = phone.press(f"{cut_out}/cut", form=cut(**wrong))

    assert answer.status_code == 422
    assert "be a number" in answer.text


@pytest.mark.parametrize("wrong", [{"halftone": "none"}, {"lighter": "200"}, {"sharpness": "-1"}])
def test_a_look_that_is_none_is_told(phone, cut_out, wrong):
    assert phone.press(f"{cut_out}/look", form=LOOK | wrong).status_code == 422


def test_the_three_renderings_are_made_anew_for_another_cut(phone, cut_out):
    before = phone.look(f"/{cut_out}/look").text
    phone.press(f"{cut_out}/cut", form=cut(wide="40"))

    after = phone.look(f"/{cut_out}/look").text

    version = re.compile(r"cut-eye\.jpg\?v=(\w+)")
    assert version.search(before)[1] != version.search(after)[1]


def test_where_it_lies_is_part_of_the_job(phone, cut_out, daemon):
    phone.press(f"{cut_out}/proof", form={"at_x_mm": "50", "at_y_mm": "30.5"})
    phone.look(f"/{cut_out}/proof")
    phone.press(f"{cut_out}/bench")

    picture = daemon.said["load"]["sheet"].picture
    assert (picture.left_mm, picture.bottom_mm) == (50, 30.5)


def test_a_place_the_head_cannot_reach_is_told_with_a_way_back(phone, cut_out):
    phone.press(f"{cut_out}/proof", form={"at_x_mm": "395", "at_y_mm": "0"})

    answer = phone.look(f"/{cut_out}/proof")

    assert answer.status_code == 422
    assert "moves only 400 mm" in answer.text
    assert f"/{cut_out}/tile" in answer.text


def test_what_must_be_read_is_read_before_it_goes_on_the_bench(phone, daemon, sent):
    wide = head_entry(is_spot_measured=False, spot_y_mm=0.2)
    daemon.answers["heads"] = {"heads": [wide]}
    phone.press(f"{sent}/tile", form=size())
    phone.press(f"{sent}/cut", form=cut())
    assert "narrower than the spot" in phone.look(f"/{sent}/proof").text

    answer = phone.press(f"{sent}/bench")
    assert answer.status_code == 422
    assert "load" not in daemon.said

    answer = phone.press(f"{sent}/bench", form={"has read": "spacing-below-spot"})
    assert answer.location == "/"


def test_so_much_dose_is_read_of_before_it_goes_on_the_bench(phone, daemon, sent):
    # at 20 W: 20 * 60 / (1000 * 0.1) = 12 J/mm²
    hand = {"feed_mm_per_min": "1000", "power_percent": "100", "line_spacing_mm": "0.1"}
    phone.press(f"{sent}/tile", form=size(pair=UNTRIED, **hand))
    phone.press(f"{sent}/cut", form=cut())
    assert "These settings give 12 J/mm²" in phone.look(f"/{sent}/proof").text

    answer = phone.press(f"{sent}/bench")
    assert answer.status_code == 422
    assert "load" not in daemon.said

    answer = phone.press(f"{sent}/bench", form={"has read": "high-dose"})
    assert answer.location == "/"


def test_a_refusal_of_the_daemon_is_told_where_the_person_is(phone, daemon, cut_out):
    phone.look(f"/{cut_out}/proof")
    daemon.refusal = Refused("refused", "An etch is under way")

    answer = phone.press(f"{cut_out}/bench")

    assert answer.status_code == 409
    assert "An etch is under way." in answer.text


def test_nothing_is_put_on_the_bench_that_nobody_has_seen(phone, daemon, cut_out):
    answer = phone.press(f"{cut_out}/bench")

    assert answer.location == f"/{cut_out}/proof"
    assert "load" not in daemon.said


def test_an_even_white_photo_is_told_to_hold_nothing_to_etch(phone):
    white = Image.new("L", (60, 40), 255)
    draft = send(phone, encoded(white, "PNG")).location.removesuffix("/tile").strip("/")
    phone.press(f"{draft}/tile", form=size())
    phone.press(f"{draft}/cut", form=cut())

    answer = phone.look(f"/{draft}/proof")

    assert answer.status_code == 422
    assert "no dot" in answer.text


def test_work_that_takes_long_shows_how_far_it_is(phone, cut_out, real_children, monkeypatch):
    monkeypatch.setattr(new_picture, "WAIT_S", 0.0)
    phone.press(f"{cut_out}/cut", form=cut(wide="50"))

    page = phone.look(f"/{cut_out}/look").text

    assert "<progress" in page
    assert '<meta http-equiv="refresh"' in page
    answer = phone.look(f"/{cut_out}/work.json").json
    assert set(answer) == {"share", "over", "early"}


def test_while_others_wait_a_bad_photo_is_told_on_the_next_page(phone, app, drafts):
    works = app.extensions["etchweb works"]
    for _ in range(MOST_WAITING):
        works._waiting.acquire()
    with works._turn:  # somebody else's picture is being worked on
        answer = send(phone, b"no photo at all")
        assert "Working on it" in phone.look(answer.location).text
    assert works.of(kept(drafts).id).over.wait(PATIENCE_S)

    answer = phone.look(answer.location)
    assert answer.status_code == 422
    assert "is not a" in answer.text
    assert drafts.all() == []


def test_a_form_that_comes_before_the_photo_was_looked_at_is_sent_once_more(phone, app, drafts):
    works = app.extensions["etchweb works"]
    for _ in range(MOST_WAITING):
        works._waiting.acquire()
    with works._turn:  # somebody else's picture is being worked on
        tile = send(phone, encoded(scene(120, 80), "JPEG")).location.strip("/")
        early = phone.press(tile, form=size(width="24")).text
    assert works.of(kept(drafts).id).over.wait(PATIENCE_S)

    again = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', early)
    answer = phone.press(tile, form={name: html.unescape(words) for name, words in again})

    assert answer.location == f"/{tile.removesuffix('tile')}cut"
    assert kept(drafts).width_mm == 24.0


def test_a_draft_is_found_again_and_put_away(phone, cut_out, drafts):
    assert "Ida&#39;s hands" in phone.look("/new").text
    assert phone.look(f"/{cut_out}").location == f"/{cut_out}/look"

    phone.press(f"{cut_out}/away")

    assert drafts.all() == []
    assert phone.look(f"/{cut_out}/look").status_code == 404


def test_old_drafts_go_by_themselves_and_so_do_the_oldest_of_many(tmp_path):
    drafts = Drafts(tmp_path / "drafts")
    begun = [drafts.begin(f"{number}").id for number in range(DRAFTS.number + 3)]

    drafts.clear_old(time.time(), of_orders=ORDERED_DRAFTS)
    assert len(drafts.all()) == DRAFTS.number

    drafts.clear_old(time.time() + DRAFTS.days * DAY_S + 60, of_orders=ORDERED_DRAFTS)
    assert len(drafts.all()) == DRAFTS.spared
    assert {draft.id for draft in drafts.all()} < set(begun)


def test_a_clock_that_jumps_ahead_leaves_the_newest_drafts(tmp_path):
    drafts = Drafts(tmp_path / "drafts")
    begun = {drafts.begin(name).id for name in ("one", "two")}

    drafts.clear_old(4e9, of_orders=ORDERED_DRAFTS)

    assert {draft.id for draft in drafts.all()} == begun


@pytest.mark.parametrize(
    "half", ["", "{", '{"id": "0', "[]", "{}", '{"id": "00", "crop": 3}', "null"]
)
def test_half_a_draft_is_no_draft(tmp_path, half):
    drafts = Drafts(tmp_path / "drafts")
    draft = drafts.begin("a photo")
    (drafts.folder_of(draft.id) / "draft.json").write_text(half)
    (drafts.folder_of(draft.id) / "found.json").write_text(half)

    assert drafts.find(draft.id) is None
    assert drafts.all() == []
    assert drafts.found(draft) is None


def test_a_page_that_starts_clears_away_what_a_killed_one_left_half_done(tmp_path):
    drafts = Drafts(tmp_path / "drafts")
    whole, without_photo = drafts.begin("whole"), drafts.begin("its photo was on its way")
    (drafts.folder_of(without_photo.id) / "photo.arriving").write_bytes(b"half of it")
    kept = drafts.folder_of(whole.id)
    (kept / "photo").write_bytes(b"all of it")
    (kept / "draft.json.0123abcd").write_text('{"id": ')
    (tmp_path / "drafts" / "0123456789abcdef").mkdir()

    create_app(FakeDaemon(), tmp_path)

    assert drafts.all() == [whole]
    assert sorted(path.name for path in kept.iterdir()) == ["draft.json", "photo"]
    assert list((tmp_path / "drafts").iterdir()) == [kept]


def test_a_child_that_is_killed_leaves_a_sentence(phone, cut_out, drafts, monkeypatch, app):
    nothing = replace(WORKER, module="etchweb.nothing_of_that_name")
    monkeypatch.setattr("etchweb.workers.work.WORKER", nothing)

    answer = phone.look(f"/{cut_out}/look")

    assert answer.status_code == 422
    assert "could not be worked out" in answer.text
