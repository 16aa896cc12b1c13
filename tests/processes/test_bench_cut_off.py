"""The page is killed while a bench is being prepared: nothing half-laid is offered afterwards."""

import http.client
import json
import re
import threading
import time
from contextlib import closing, suppress
from dataclasses import asdict, replace
from html import unescape
from urllib.parse import urlencode

import numpy as np
import pytest

from etchphoto.expected import save_expected
from etchphoto.job.order import PhotoOrder
from etchphoto.job.prepare import write_dots
from etchweb.bench.files import BENCH_FOLDER, JOB_FOLDER, PLAN_NAME
from etchweb.drafts.made import MadeJob
from etchweb.drafts.store import FOUND_NAME, PHOTO_NAME, Drafts
from etchweb.drafts.store import JOB_FOLDER as JOB_OF_DRAFT
from etchwire.catalogue.examples import PRACTICE_HEADS, PRACTICE_RECIPES
from etchwire.sheet import PICTURE_NAME, SHEET_NAME
from support.kills.household import PATIENCE_S, KillableHouse
from support.samples.sheets import JIG_TABLE

HEAD, RECIPE = PRACTICE_HEADS["practice-20w"], PRACTICE_RECIPES["practice-20w"]


@pytest.fixture
def house(tmp_path):
    house = KillableHouse(tmp_path)
    yield house
    house.end()


def ready_picture(drafts, name):
    """Make a picture of 20 × 10 mm whose job is made, as the page's steps leave it."""
    draft = replace(drafts.begin(f"{name}.jpg"), width_mm=20.0, head=HEAD, recipe=RECIPE)
    drafts.keep(draft)
    folder = drafts.folder_of(draft.id)
    (folder / PHOTO_NAME).write_bytes(name.encode())
    job = folder / JOB_OF_DRAFT
    job.mkdir()
    bits = np.random.default_rng(len(name)).random((100, 200)) < 0.5
    sheet = write_dots(bits, PhotoOrder(head=HEAD, recipe=RECIPE, width_mm=20.0, title=name), job)
    save_expected(bits, job / PICTURE_NAME)
    made = MadeJob(
        of=draft.found_key, findings=(), burnt=0.5, predicted_s=sheet.predicted_s, columns=200,
        rows=100, size_mm=(20.0, 10.0), at_mm=(0.0, 0.0), reach_mm=(0.0, 0.0, 1.0, 1.0),
        gcode_sha256=sheet.gcode_sha256,
    )  # fmt: skip
    (folder / FOUND_NAME).write_text(json.dumps(asdict(made)))
    return draft.id


def press(house, address, form):
    """Press a button of the page, as a browser sends it; return status and where it leads."""
    token = re.search(r'name="form_token" value="([^"]+)"', house.page(address))[1]
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Origin": f"http://127.0.0.1:{house.page_port}",
    }
    with closing(http.client.HTTPConnection("127.0.0.1", house.page_port, PATIENCE_S)) as phone:
        phone.request("POST", "/bench", urlencode(form | {"form_token": token}), headers)
        answer = phone.getresponse()
        return answer.status, answer.getheader("Location"), answer.read().decode()


def test_after_a_kill_the_page_says_what_to_do_and_laying_again_works(house):
    house.start_daemon()
    with house.daemon() as daemon:
        daemon.call("save_jig", jig=JIG_TABLE)
    drafts = Drafts(house.page_folder / "drafts")
    ida, zoe = (ready_picture(drafts, name) for name in ("Ida", "Zoe"))
    house.start_page()
    laid = {"jig": "Signs", "pocket-1": ida, "pocket-3": zoe}
    plan = f"/bench?{urlencode(laid)}"

    def lay_and_never_hear():
        with suppress(OSError, http.client.HTTPException):
            press(house, plan, laid)

    phone = threading.Thread(target=lay_and_never_hear)
    phone.start()
    benches = house.page_folder / BENCH_FOLDER
    while not any(benches.glob(f"*/{PLAN_NAME}")):
        time.sleep(0.005)
    house.kill("page")
    phone.join()
    house.until(lambda: not house.children())
    # A child that was nearly done may outlive its page: then the job is whole, but never loaded.
    for half in benches.glob(f"*/{JOB_FOLDER}"):
        assert (half / SHEET_NAME).exists()

    house.start_page()
    said = house.page("/bench")
    with house.daemon() as daemon:
        assert daemon.call("status")["job"] is None
    assert "Nothing of it is loaded." in said
    address = unescape(re.search(r'href="(/bench/make[^"]*)"', said)[1])
    assert address.partition("?")[2].split("&") == urlencode(laid).split("&")

    status, leads_to, page = press(house, plan, laid)

    assert (status, leads_to) == (303, "/"), page
    with house.daemon() as daemon:
        assert daemon.call("status")["job"]["pockets"] == [1, 3]
    assert "Nothing of it is loaded." not in house.page("/bench")
    assert len(list(benches.iterdir())) == 1
