"""Orders from a list on the page: what is wrong is said by lines, and nothing is half taken.

That a whole list becomes orders with their pictures is etched in `rig/test_working_day`.
"""

import io
import json
import time

import pytest

from etchweb.drafts.store import Drafts
from etchweb.orders.list_views import NO_LIST
from support.fakes.catalogue_answers import HEAD, SURFACE
from support.samples.photo_files import encoded, scene

pytestmark = pytest.mark.usefixtures("known_lasers")

PAIR = json.dumps([HEAD.name, SURFACE.name])
HEADING = "name,file,size,count\n"
ADA = "Ada,dog.jpg,90x60,2\n"


def send(phone, text, photos=("dog.jpg",), **form):
    data = text if isinstance(text, bytes) else text.encode()
    files = [(io.BytesIO(encoded(scene(40, 30), "JPEG")), name) for name in photos]
    said = {"list": (io.BytesIO(data), "list.csv"), "photo": files, "pair": PAIR, "place": "wall"}
    return phone.press("orders/list", form=said | form)


WRONG = (
    (HEADING + "Ada,cat.jpg,90,1\n", "line 2: the photo cat.jpg: it was not sent"),
    (HEADING + ADA + "Ben,dog.jpg,wide,1\n", "line 3: the size &#39;wide&#39; is no size"),
    (
        HEADING + ADA + "Ben,dog.jpg,90,=1+1\n",
        "line 3: the count &#39;=1+1&#39; is no whole number",
    ),
    (HEADING + ADA + "Ben,../dog.jpg,90,1\n", "is no name of a file in the folder of photos"),
    (HEADING + ADA * 10_000, "more than 500 lines: split the list"),
    ((HEADING + "J\u00fcrgen,dog.jpg,90,1\n").encode("latin-1"), "line 2: this is not UTF-8"),
    ("who,file\n" + ADA, "the heading lacks the column &#39;name&#39;"),
    (HEADING + "Ada,dog.jpg,900x60,1\n", "Ada, dog.jpg: practice 20 W moves only 400 × 400 mm"),
    (HEADING, "the list has no line behind its heading"),
)


@pytest.mark.parametrize(("text", "said"), WRONG, ids=[said for _, said in WRONG])
def test_what_is_wrong_with_a_list_is_said_and_nothing_is_taken(
    phone, daemon, tmp_path, text, said
):
    answer = send(phone, text)

    assert answer.status_code == 422
    assert said in answer.text
    assert "Nothing was imported" in answer.text
    assert "add_orders" not in daemon.said
    assert Drafts(tmp_path / "drafts").all() == []


def test_a_list_without_tile_and_paint_or_without_a_list_is_refused(phone, daemon):
    assert "Choose which laser" in send(phone, HEADING + ADA, pair="[]").text
    assert NO_LIST in send(phone, HEADING, list=(io.BytesIO(b""), "")).text


def test_a_list_that_the_logbook_refuses_leaves_no_picture(phone, daemon, tmp_path):
    daemon.refuse("The logbook cannot be written: the disk is full.")

    answer = send(phone, HEADING + ADA)

    assert answer.status_code == 409
    assert "the disk is full" in answer.text
    assert Drafts(tmp_path / "drafts").all() == []


def test_who_may_only_watch_takes_no_list(pair_phone):
    watching = pair_phone("watch", time.time())

    assert watching.look("/orders/list").status_code == 403
    assert send(watching, HEADING + ADA).status_code == 403
    assert "From a list" not in watching.look("/orders").text


def test_shown_and_agreed_at_once_are_two_notes_of_the_same_proof(phone, daemon):
    form = {"item": "7", "answer": "agreed", "way": "in the shop", "shown_sha256": "ef" * 32}

    phone.press("orders/3/proof", form=form)

    assert daemon.asked == ["note_proof", "note_proof"]
    said = daemon.said["note_proof"]
    assert (said["answer"], said["way"], said["shown_sha256"]) == ("yes", "in the shop", "ef" * 32)
