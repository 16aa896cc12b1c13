"""A picture made for an order: its proof is told to the order, and a yes comes before the etch."""

import copy
import io
import json
from dataclasses import asdict, replace

import pytest

from etchweb.drafts.forms import for_order
from etchweb.drafts.made import MadeJob
from etchweb.drafts.store import FACTS_NAME, FOUND_NAME, PHOTO_NAME, SEEN_NAME
from etchwire.errors import Refused
from support.fakes.catalogue_answers import HEAD, RECIPE, SURFACE, craft
from support.fakes.fake_catalogue import ORDER
from support.fakes.fake_daemon import ETCH, STAYS
from support.samples.photo_files import encoded, scene

PATIENCE_S = 60
PAIR = json.dumps([HEAD.name, SURFACE.name])
TONES = dict.fromkeys(("lighter", "contrast", "local_contrast", "sharpness", "open_shadows"), "0")
LOOK = {"halftone": "jarvis", **TONES}


@pytest.fixture
def draft(drafts, daemon):
    """Return a draft for item 7 of order 3 with everything decided, shown as it is."""
    daemon.answers |= craft()
    draft = replace(
        drafts.begin("Ada and Rex.jpg"), width_mm=24.0, height_mm=16.0, head=HEAD,
        recipe=RECIPE, crop=(0.0, 0.0, 1.0, 1.0), halftone="jarvis", is_halftone_chosen=True,
    )  # fmt: skip
    folder = drafts.folder_of(draft.id)
    facts = {"width_px": 120, "height_px": 80, "sha256": "ab" * 32}
    (folder / FACTS_NAME).write_text(json.dumps(facts))
    (folder / PHOTO_NAME).write_bytes(b"a photo")
    (folder / SEEN_NAME).write_bytes(b"a tile")
    drafts.keep(for_order(draft, {"order": "3", "item": "7"}))
    return drafts.find(draft.id)


@pytest.fixture
def made(waiting_for_work, phone, daemon, drafts):
    """Return a draft for item 7 of order 3, made as far as its proof."""
    daemon.answers |= craft(batch="the next box")
    photo = (io.BytesIO(encoded(scene(120, 80), "JPEG")), "Ada and Rex.jpg", "image/jpeg")
    answer = phone.press("new", form={"photo": photo, "order": "3", "item": "7"})
    draft = "new/" + answer.location.split("/")[2]
    assert phone.look(f"/{draft}/tile").text.count('value="90') == 2  # mm, as the order says
    sides = {"width_mm": "24", "height_mm": "16", "pair": PAIR}
    phone.press(f"{draft}/tile", form=sides)
    phone.press(f"{draft}/cut", form={"left": "0", "top": "0", "wide": "100"})
    phone.press(f"{draft}/look", form=LOOK)
    assert "For order 3" in phone.look(f"/{draft}/proof").text
    (made,) = drafts.all()
    return made


@pytest.mark.slow
def test_what_was_shown_goes_to_the_bench_under_the_order_s_number(phone, daemon, made):
    """A customer's file name does not become the job's title."""
    told = daemon.said["note_proof"]
    assert (told["item"], told["answer"], told["draft"]) == (7, "changed", made.id)

    assert phone.press(f"new/{made.id}/bench").location == "/"

    assigned, sheet = daemon.said["assign_tile"], daemon.said["load"]["sheet"]
    assert (assigned["item"], assigned["design_sha256"]) == (7, told["design_sha256"])
    assert (assigned["gcode_sha256"], sheet.title) == (sheet.gcode_sha256, "order 3, item 7")
    assert "Ada" not in sheet.to_json()


@pytest.mark.slow
def test_the_same_again_is_the_picture_that_the_customer_said_yes_to(phone, daemon, made):
    phone.press(f"new/{made.id}/bench")
    first = daemon.said["assign_tile"]
    daemon.answers["run"] = ETCH | {"gcode_sha256": first["gcode_sha256"]}
    again = phone.press("new/same-again/7").location
    phone.look(again)

    assert phone.press(again.replace("proof", "bench").strip("/")).location == "/"

    assert daemon.said["assign_tile"] == first


def test_a_picture_with_its_yes_says_that_it_would_end_after_closing_time(
    phone, daemon, drafts, draft
):
    made = MadeJob(
        of=draft.found_key, findings=(), burnt=0.5, predicted_s=2460.0, columns=240, rows=160,
        size_mm=(24.0, 16.0), at_mm=(0.0, 0.0), reach_mm=(0.0, 0.0, 24.0, 16.0),
        gcode_sha256="ab" * 32,
    )  # fmt: skip
    (drafts.folder_of(draft.id) / FOUND_NAME).write_text(json.dumps(asdict(made)))
    order = copy.deepcopy(ORDER)
    (item,) = order["items"]
    item["item"]["draft"], item["proofs"][0]["answer"] = draft.id, "yes"
    daemon.answers |= {"order": order, "confirmations": {"stays": STAYS}}

    page = phone.look("/orders/3").text

    assert page.index(STAYS) < page.index("Load it")


def test_looking_at_a_picture_or_at_its_order_changes_nothing(phone, daemon, draft):
    daemon.asked.clear()

    for step in ("tile", "cut", "design"):
        assert phone.look(f"/new/{draft.id}/{step}").status_code == 200
    phone.look("/orders/3")

    assert "note_proof" not in daemon.asked


SAME = {
    "look": LOOK,
    "cut": {"left": "0", "top": "0", "wide": "100"},
    "proof": {"at_x_mm": "40", "at_y_mm": "5"},
    "tile": {
        "width_mm": "24", "height_mm": "16", "pair": PAIR, "feed_mm_per_min": "1500",
        "power_percent": "61", "line_spacing_mm": "0.1",
    },
}  # fmt: skip


@pytest.mark.parametrize("step", SAME)
def test_the_same_picture_keeps_its_yes_wherever_and_with_whatever_power_it_is_etched(
    phone, daemon, drafts, draft, step
):
    """Another painting lot may want other settings; the customer sees the same picture."""
    assert phone.press(f"new/{draft.id}/{step}", form=SAME[step]).status_code == 303

    assert "note_proof" not in daemon.asked
    assert (drafts.folder_of(draft.id) / SEEN_NAME).exists()


OTHER = (
    ("look", LOOK | {"lighter": "40"}),
    ("cut", {"left": "10", "top": "0", "wide": "80"}),
    ("cut", {"turn": "mirror"}),
    ("tile", SAME["tile"] | {"width_mm": "25"}),
    ("mend/dark-background", {}),
    ("design", {
        "text": "Ida", "font": "DejaVu Sans Bold", "stand": "bottom", "ink": "white on black",
        "shape": "rectangle", "then": "proof",
    }),
)  # fmt: skip


@pytest.mark.parametrize(("step", "form"), OTHER, ids=[step for step, _ in OTHER])
def test_another_picture_is_told_to_the_order_as_soon_as_somebody_asks_for_it(
    phone, daemon, drafts, draft, step, form
):
    before = drafts.design_sha256(draft)

    phone.press(f"new/{draft.id}/{step}", form=form)

    said = daemon.said["note_proof"]
    assert (said["item"], said["answer"], said["draft"]) == (7, "changed", draft.id)
    assert said["design_sha256"] == drafts.design_sha256(drafts.find(draft.id)) != before
    assert not (drafts.folder_of(draft.id) / SEEN_NAME).exists()


def test_a_picture_whose_order_cannot_hear_of_it_stays_as_it_was(phone, daemon, drafts, draft):
    daemon.go_away()

    answer = phone.press(f"new/{draft.id}/look", form=LOOK | {"lighter": "40"})

    assert answer.status_code == 503
    assert drafts.find(draft.id).lighter == 0


@pytest.mark.slow
def test_what_has_no_yes_is_not_loaded(phone, daemon, made):
    daemon.refuse("The customer has not said yes to this as it is now.")

    answer = phone.press(f"new/{made.id}/bench")

    assert answer.status_code == 409
    assert "not said yes" in answer.text
    assert "load" not in daemon.asked


@pytest.mark.slow
def test_a_job_that_the_machine_refuses_does_not_lie_on_the_bench(phone, daemon, made):
    def refuse(**_):
        raise Refused("busy", "Something is being etched.")

    daemon.answers["load"] = refuse
    assert phone.press(f"new/{made.id}/bench").status_code == 503

    assigned = daemon.said["assign_tile"]
    assert (assigned["item"], assigned["lot"]) == (None, "")
