"""A picture made for an order: its proof is told to the order, and a yes comes before the etch."""

import io
import json
from hashlib import sha256

import pytest

from etchweb.drafts.store import DOTS_NAME, Drafts
from etchwire.errors import Refused
from support.fakes.catalogue_answers import HEAD, SURFACE, craft
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.slow

PATIENCE_S = 60
TONES = dict.fromkeys(("lighter", "contrast", "local_contrast", "sharpness", "open_shadows"), "0")
LOOK = {"halftone": "jarvis", **TONES}


@pytest.fixture
def drafts(tmp_path):
    return Drafts(tmp_path / "drafts")


@pytest.fixture
def see(app, phone):
    """Return a function that looks at a step of a draft once the work for it is done."""

    def see(address):
        phone.look(address)
        work = app.extensions["etchweb works"].of(address.split("/")[2])
        assert work is None or work.over.wait(PATIENCE_S)
        return phone.look(address).text

    return see


@pytest.fixture
def made(phone, daemon, drafts, see):
    """Return a draft for item 7 of order 3, made as far as its proof."""
    daemon.answers |= craft(batch="the next box")
    photo = (io.BytesIO(encoded(scene(120, 80), "JPEG")), "Ada and Rex.jpg", "image/jpeg")
    answer = phone.press("new", form={"photo": photo, "order": "3", "item": "7"})
    draft = "new/" + answer.location.split("/")[2]
    assert phone.look(f"/{draft}/tile").text.count('value="90') == 2  # mm, as the order says
    sides = {"width_mm": "24", "height_mm": "16", "pair": json.dumps([HEAD.name, SURFACE.name])}
    phone.press(f"{draft}/tile", form=sides)
    phone.press(f"{draft}/cut", form={"left": "0", "top": "0", "wide": "100"})
    see(f"/{draft}/look")
    phone.press(f"{draft}/look", form=LOOK)
    assert "For order 3" in see(f"/{draft}/proof")
    (made,) = drafts.all()
    return made


def test_the_order_is_told_what_the_proof_shows_and_a_bench_names_it(phone, daemon, drafts, made):
    shown = sha256((drafts.folder_of(made.id) / DOTS_NAME).read_bytes()).hexdigest()
    told = daemon.said["note_proof"]

    assert phone.press(f"new/{made.id}/bench").location == "/"

    assert (told["item"], told["answer"], told["design_sha256"]) == (7, "changed", shown)
    assert told["draft"] == made.id
    assigned = daemon.said["assign_tile"]
    assert (assigned["item"], assigned["design_sha256"]) == (7, shown)
    assert assigned["gcode_sha256"] == daemon.said["load"]["sheet"].gcode_sha256


def test_a_customer_s_file_name_does_not_become_the_job_s_title(phone, daemon, made):
    phone.press(f"new/{made.id}/bench")

    sheet = daemon.said["load"]["sheet"]
    assert sheet.title == "order 3, item 7"
    assert "Ada" not in sheet.to_json()


def test_another_look_is_another_proof(phone, daemon, made, see):
    before = daemon.said["note_proof"]["design_sha256"]

    phone.press(f"new/{made.id}/look", form=LOOK | {"lighter": "40"})
    see(f"/new/{made.id}/proof")

    assert daemon.said["note_proof"]["design_sha256"] != before


def test_what_has_no_yes_is_not_loaded(phone, daemon, made):
    daemon.refuse("The customer has not said yes to this as it is now.")

    answer = phone.press(f"new/{made.id}/bench")

    assert answer.status_code == 409
    assert "The customer has not said yes to this" in answer.text
    assert "load" not in daemon.asked


def test_a_job_that_the_machine_refuses_does_not_lie_on_the_bench(phone, daemon, made):
    def refuse(**_):
        raise Refused("busy", "Something is being etched.")

    daemon.answers["load"] = refuse
    assert phone.press(f"new/{made.id}/bench").status_code == 503

    assigned = daemon.said["assign_tile"]
    assert (assigned["item"], assigned["lot"]) == (None, "")
