"""The same picture again, on a new tile: also after a hundred others, for two years."""

import io
import os
import shutil
from urllib.parse import quote

import pytest

from etchweb.drafts.earlier import CHANGED
from etchweb.drafts.store import Drafts
from etchweb.storage.made_from import keep_made_from, made_from
from etchweb.storage.retention import clear_out
from etchwire.retention import DAY_S, EARLIEST_S, MADE_FROM
from support.fakes.catalogue_answers import craft, recipe
from support.fakes.fake_daemon import ETCH
from support.harnesses.picture_bench import draft_to_proof
from support.samples.photo_files import PHOTOGRAPHS, encoded, scene

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
ORDERED_S = EARLIEST_S + 100 * DAY_S
OTHER_RECIPE = CHANGED.partition(":")[0]
TWO_YEARS_S = 2 * 365 * DAY_S
FIRST = f"{0:064x}"


@pytest.fixture
def page_folder(tmp_path):
    """The page's folder in which a first picture is kept, and a hundred that came after."""
    photo = tmp_path / "photo"
    for number in range(101):
        photo.write_bytes(b"%d" % number)
        keep_made_from(tmp_path, f"{number:064x}", [photo])
        photo.unlink()
        at_s = ORDERED_S + number
        os.utime(made_from(tmp_path, f"{number:064x}"), (at_s, at_s))
    return tmp_path


def test_what_a_tile_was_made_from_is_kept_for_two_years_behind_a_hundred_others(page_folder):
    clear_out(page_folder, now_s=ORDERED_S + TWO_YEARS_S)
    kept = made_from(page_folder, FIRST)
    held = (kept / "photo").read_bytes()
    clear_out(page_folder, now_s=ORDERED_S + TWO_YEARS_S + 2 * DAY_S)

    assert held == b"0"
    assert made_from(page_folder, FIRST) is None
    assert MADE_FROM.number > 1000


def test_what_is_kept_takes_no_room_beside_its_draft_and_is_not_changed_with_it(tmp_path):
    photo = tmp_path / "photo"
    photo.write_bytes(b"as it came")
    keep_made_from(tmp_path, FIRST, [photo])
    kept = made_from(tmp_path, FIRST) / "photo"

    assert kept.samefile(photo)
    photo.unlink()
    assert kept.read_bytes() == b"as it came"


@pytest.mark.parametrize("name", ["..", "", "zz" * 32, f"{1:064x}"])
def test_nothing_else_is_taken_for_what_is_kept(tmp_path, name):
    keep_made_from(tmp_path, FIRST, [])

    assert made_from(tmp_path, name) is None


@pytest.fixture(scope="module")
def first_made(tmp_path_factory):
    """Where the draft lies that `etched` begins with, once a test has made it."""
    return tmp_path_factory.mktemp("made") / "drafts"


@pytest.fixture
def etched(waiting_for_work, phone, app, daemon, first_made, tmp_path):
    """A picture that was loaded and etched as run 7; returns its sheet."""
    daemon.answers |= craft()
    drafts = tmp_path / "drafts"
    if first_made.exists():
        shutil.copytree(first_made, drafts, dirs_exist_ok=True)
    else:
        draft_to_proof(app, ASTRONAUT, width_mm=20, height_mm=20)
        shutil.copytree(drafts, first_made)
    (draft,) = drafts.iterdir()
    at = f"/new/{draft.name}"
    ticks = {"has read": ["too dark", "detail"]}
    phone.press(f"{at[1:]}/bench", form=ticks)
    sheet = daemon.said["load"]["sheet"]
    daemon.answers["run"] = lambda **_: {**ETCH, "gcode_sha256": sheet.gcode_sha256}
    phone.press(f"{at[1:]}/away")
    return sheet


def again(phone):
    answer = phone.press("new/same-again/7")
    while "Working" in (page := phone.look(answer.location)).text and answer.status_code == 303:
        pass
    return answer, page


@pytest.mark.slow
def test_the_same_again_makes_the_same_job_from_the_logbook(phone, daemon, etched):
    offered = phone.look("/logbook/7")
    answer, page = again(phone)
    loaded = phone.press(answer.location[1:].replace("proof", "bench"))

    assert "The same again, on a new tile" in offered.text
    assert OTHER_RECIPE not in page.text
    assert loaded.location == "/"
    assert daemon.said["load"]["sheet"].gcode_sha256 == etched.gcode_sha256


@pytest.mark.slow
def test_a_recipe_that_has_changed_since_is_said(phone, daemon, etched):
    daemon.answers |= craft(recipe(feed_mm_per_min=2000.0))

    _, page = again(phone)

    assert OTHER_RECIPE in page.text


@pytest.mark.slow
@pytest.mark.parametrize("is_changed", [False, True])
def test_another_photo_takes_the_settings_of_an_old_etch(phone, app, daemon, etched, is_changed):
    if is_changed:
        daemon.answers |= craft(recipe(feed_mm_per_min=2000.0))
    offered = phone.look("/logbook/7").text
    assert 'href="/new?like_etch=7">Another photo with these settings' in offered
    assert 'name="like_etch" value="7"' in phone.look("/new?like_etch=7").text
    photo = io.BytesIO(encoded(scene(60, 60), "JPEG"))

    answer = phone.press("new", form={"photo": (photo, "Tom.jpg"), "like_etch": "7"})

    (draft,) = Drafts(app.extensions["etchweb"].pictures.parent / "drafts").all()
    assert answer.location == f"/new/{draft.id}/cut"
    assert (draft.title, draft.width_mm, draft.recipe) == ("Tom", 20, etched.recipe)
    assert (OTHER_RECIPE in draft.caution) is is_changed


@pytest.mark.parametrize("wrong", ["", "x", "-7", "9" * 40, "²"])
def test_what_is_no_etch_is_like_none(phone, wrong):
    page = phone.look(f"/new?like_etch={quote(wrong)}")

    assert page.status_code == 200
    assert "like_etch" not in page.text


def test_what_is_kept_no_more_is_said_and_not_offered(phone):
    assert "The same again" not in phone.look("/logbook/7").text
    assert "Another photo" not in phone.look("/logbook/7").text
    assert "like_etch" not in phone.look("/new?like_etch=7").text
    assert "no longer kept" in phone.press("new/same-again/7").text
