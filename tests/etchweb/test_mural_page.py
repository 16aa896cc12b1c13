"""A mural on the page: one photo over several tiles, from its steps to the bench."""

import io
import json
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from etchweb.bench import views as bench
from etchweb.drafts.forms import NOT_ON_WALLS
from etchweb.drafts.halftones import Tried, offered
from etchweb.drafts.proof_views import NO_TILE
from etchweb.drafts.store import JOB_FOLDER
from etchweb.workers.work import LONG_WORKER, WorkQueue
from etchwire.children.child_process import launch
from etchwire.sheet import read_sheet
from support.fakes.catalogue_answers import HEAD, SURFACE
from support.fakes.fake_daemon import STAYS
from support.harnesses.kept_work import do_once
from support.harnesses.work_here import work_here
from support.samples.photo_files import encoded, scene

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("known_lasers", "waiting_for_work")]

PATIENCE_S = 60
PAIR = json.dumps([HEAD.name, SURFACE.name])
WALL = {"columns": "2", "rows": "2", "joint_mm": "3"}
SIZE = {"width_mm": "10", "height_mm": "8", "pair": PAIR}
LOOK = {"halftone": "jarvis", "lighter": "0", "contrast": "0", "local_contrast": "0",
        "sharpness": "0", "open_shadows": "0"}  # fmt: skip


@pytest.fixture(autouse=True)
def patience(monkeypatch):
    monkeypatch.setattr(bench, "WAIT_S", PATIENCE_S)


@pytest.fixture
def sent(phone):
    file = (io.BytesIO(encoded(scene(460, 380), "JPEG")), "Harbour.jpg", "image/jpeg")
    return phone.press("new", form={"photo": file}).location.removesuffix("/tile").strip("/")


def only(drafts):
    (draft,) = drafts.all()
    return draft


@pytest.fixture
def long_children(app, waiting_for_work):
    """Have murals made as on a box, by child processes; all else is worked out here."""

    def start(program):
        return launch(program) if program is LONG_WORKER else work_here(program, do_once)

    app.extensions["etchweb works"] = WorkQueue(launch=start)


def test_a_photo_is_laid_over_tiles_with_joints_and_each_tile_is_loaded_alone(
    long_children, phone, daemon, drafts, sent, tmp_path
):
    assert phone.press(f"{sent}/tile", form=SIZE | WALL).location == f"/{sent}/cut"
    assert "23 × 19 mm" in phone.look(f"/{sent}/cut").text
    phone.press(f"{sent}/cut", form={"left": "0", "top": "0", "wide": "100"})
    daemon.answers["confirmations"] = {"stays": STAYS}
    look = phone.look(f"/{sent}/look").text
    assert 'width="230" height="190"' in look
    assert STAYS not in look  # the time is that of all tiles, which are etched one by one
    assert phone.press(f"{sent}/look", form=LOOK).location == f"/{sent}/proof"
    proof = phone.look(f"/{sent}/proof").text

    assert "2 × 2 tiles with joints of 3 mm, 23 × 19 mm overall." in proof
    assert proof.count(">Tile ") == 4
    folder = drafts.folder_of(only(drafts).id)
    with Image.open(folder / "seen.jpg") as seen:
        assert seen.size == (720, 595)  # 23 × 19
    with phone.look(f"/{sent}/plan.svg") as plan:
        assert plan.content_type.startswith("image/svg+xml")
        drawn = plan.text
    assert ET.fromstring(drawn).get("width") == "297mm"

    unsaid = phone.press(f"{sent}/bench")
    assert (unsaid.status_code, NO_TILE in unsaid.text) == (422, True)
    for number in ("3", "3"):  # the second time because it broke
        assert phone.press(f"{sent}/bench", form={"tile": number}).location == "/"
        sheet = daemon.said["load"]["sheet"]
        assert (sheet.title, sheet.columns, sheet.rows) == ("Harbour, tile 3 of 4", 100, 80)
        # By this name the logbook holds all tiles of the wall to one painting lot.
        assert daemon.said["assign_tile"]["mural"] == folder.name
        assert sheet == read_sheet(folder / JOB_FOLDER / "tile-3")
        assert (tmp_path / "pictures" / f"{sheet.gcode_sha256}-small.jpg").exists()
    again = drafts.begin_from(tmp_path / "made-from" / sheet.gcode_sha256)
    assert again.wall == (2, 2, 3.0)
    assert again.mural == folder.name  # whether or not the first draft is there still
    # The tiles of one mural lie side by side in a jig, in one run.
    key = only_key(drafts, again)
    page = phone.look(f"/bench?jig=Signs&pocket-1={key}.1&pocket-2={key}.2")
    assert "Harbour, tile 1, 10 × 8 mm" in page.text
    assert f"/new/{key}/seen-2.jpg" in page.text
    laid = {"jig": "Signs", "pocket-1": f"{key}.1", "pocket-2": f"{key}.2"}
    assert phone.press("bench", form=laid).location == "/"
    murals = {one["pocket"]: one["mural"] for one in daemon.said["assign_tile"]["tiles"]}
    assert murals == {1: key, 2: key}
    titles = [part.title for part in daemon.said["load"]["sheet"].parts]
    assert titles == ["Harbour, tile 1 of 4", "Harbour, tile 2 of 4"]
    # One tile alone again: nothing of the mural is in its way.
    phone.press(f"{sent}/tile", form=SIZE | WALL | {"columns": "1", "rows": "1"})
    assert "Which tile" not in phone.look(f"/{sent}/proof").text


@pytest.mark.usefixtures("waiting_for_work")
def test_a_tile_of_a_wall_made_again_is_held_to_its_lot_until_a_person_says_otherwise(
    phone, drafts
):
    wall = replace(drafts.begin("sea.jpg"), wall=(2, 2, 3.0), width_mm=10, height_mm=8)
    drafts.keep(wall)
    (drafts.folder_of(wall.id) / "photo").write_bytes(b"")
    kept = drafts.folder_of(wall.id)
    again = drafts.begin_from(drafts.folder_of(drafts.begin_from(kept).id))
    drafts.forget(wall.id)
    assert (wall.mural, again.mural) == (wall.id, wall.id)
    assert replace(again, wall=None).mural == ""

    phone.press(f"new/{again.id}/mend/earlier-wall")

    anew = drafts.find(again.id)
    assert anew.mural == anew.id
    assert anew.found_key == again.found_key  # no dot is another: nothing is made anew


def only_key(drafts, other):
    (draft,) = (one for one in drafts.all() if one.id != other.id)
    return draft.id


DESIGN = {"text": "Ida", "font": "Aileron", "stand": "top", "ink": "white on black",
          "shape": "oval"}  # fmt: skip


def test_what_looks_far_round_each_dot_is_taken_off_a_mural(phone, drafts, sent):
    phone.press(f"{sent}/tile", form=SIZE)
    phone.press(f"{sent}/look", form=LOOK | {"sharpness": "40"})
    phone.press(f"{sent}/design", form=DESIGN)
    phone.press(f"{sent}/tile", form=SIZE | WALL)

    draft = only(drafts)
    assert {name: getattr(draft, name) for name in NOT_ON_WALLS} == NOT_ON_WALLS
    assert draft.decoration.text == "Ida"


@pytest.mark.slow
def test_a_mural_has_lettering_retouching_and_the_white_of_its_weakest_tile(phone, drafts, sent):
    """Murals over 2 × 2 tiles of 10 × 8 mm with an oval round all and white letters over a joint.

    Tile 4 is darker by 3 L*: 92 instead of 95 is 81 % of the light (CIE 1976 L*), which all show.
    """
    phone.press(f"{sent}/tile", form=SIZE | WALL | {"shades": "4: -3\n"})
    phone.press(f"{sent}/cut", form={"left": "0", "top": "0", "wide": "100"})
    oval = {"oval_x": "50", "oval_y": "50", "oval_wide": "30", "oval_high": "30"}
    phone.press(f"{sent}/look", form=LOOK | oval | {"fade": "100", "face_light": "40"})
    drawn = phone.press(f"{sent}/design", form=DESIGN | {"then": "show"})
    page = phone.look(drawn.location).text
    assert "“Ida” lies across a joint: 3 mm of it are left out" in page
    assert "23 × 19 mm" in page
    proof = phone.look(f"/{sent}/proof").text
    assert "no whiter than 81% of the light, as tile 4 is bare" in proof
    assert "4: -3</textarea>" in phone.look(f"/{sent}/tile").text

    draft = only(drafts)
    assert (draft.fade, draft.shades) == (100, ((4, -3.0),))
    (weakest, usual) = (share_burnt(drafts, draft, number) for number in (4, 3))
    assert 0 < weakest < usual  # what its own white is too dark by, the others are burnt for


def test_dots_from_the_test_card_are_offered_for_a_mural_with_the_time_that_they_take():
    tried = Tried(of="", black=0.05, seconds={"jarvis": 100.0, "test-card": 100.0},
                  part_dots=(1, 1), test_card_gain_percent=40.0, search_s=840.0)  # fmt: skip

    assert "about 14 min, and other pictures wait" in offered(tried)["test-card"].good_for
    one_tile = offered(replace(tried, search_s=0.0))["test-card"].good_for
    assert "takes longer to work out" in one_tile


def test_a_mural_has_dots_that_take_long_only_where_a_person_chose_them(phone, drafts, sent):
    phone.press(f"{sent}/tile", form=SIZE)
    phone.press(f"{sent}/cut", form={"left": "0", "top": "0", "wide": "100"})
    chosen = LOOK | {"halftone": "test-card"}
    phone.press(f"{sent}/look", form=chosen)

    phone.press(f"{sent}/tile", form=SIZE | WALL)
    assert only(drafts).halftone == "jarvis"
    phone.press(f"{sent}/look", form=chosen)
    phone.press(f"{sent}/tile", form=SIZE | WALL)
    assert only(drafts).halftone == "test-card"


def share_burnt(drafts, draft, number):
    return read_sheet(drafts.folder_of(draft.id) / JOB_FOLDER / f"tile-{number}").coverage


@pytest.mark.parametrize(
    "said", ["5: -2", "0: -2", "2 -2\n2 -3", "2: dark", "2: -31", "2: 5.5", "2: -2 3: -1"]
)
def test_a_white_that_no_tile_can_have_is_refused_and_stays_typed(phone, drafts, sent, said):
    answer = phone.press(f"{sent}/tile", form=SIZE | WALL | {"shades": said})

    assert answer.status_code == 422
    assert f"{said}</textarea>" in answer.text
    assert only(drafts).wall is None


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"columns": "0"}, "How many tiles across must be"),
        ({"rows": "1.5"}, "whole tiles"),
        ({"columns": "20", "rows": "20"}, "up to 100 whole tiles"),
        ({"joint_mm": "-1"}, "The joint in millimetres must be"),
        ({"height_mm": ""}, "The height in millimetres must be"),
    ],
)
def test_a_wall_that_nobody_can_lay_is_refused(phone, drafts, sent, wrong, said):
    answer = phone.press(f"{sent}/tile", form=SIZE | WALL | wrong)

    assert (answer.status_code, said in answer.text) == (422, True)
    assert only(drafts).wall is None
