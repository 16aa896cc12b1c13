"""Every view of the page at three widths in both schemes, for people to look at.

`pytest -m measure tests/measure/page_pictures_test.py -s` prints the folder they lie in.
"""

import pytest

from support.fakes.catalogue_answers import craft
from support.fakes.fake_daemon import LOGBOOK, STATES, answer_run, box
from support.fakes.fleet_boxes import FakeWatcher, fleet_on
from support.harnesses.page_bench import SCHEMES, WIDTHS_PX, browser, phone_options, served_page
from support.harnesses.picture_bench import draft_to_proof
from support.samples.photo_files import PHOTOGRAPHS

pytestmark = pytest.mark.measure

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
VIEWS = {
    "logbook": "/logbook",
    "logbook, nothing found": "/logbook?text=gone",
    "etch": "/logbook/7",
    "etch, judged": "/logbook/6",
    "take it up again": "/logbook/6/take-up-again",
    "test cards": "/test-tiles",
    "test card, new": "/test-tiles/new",
    "lasers": "/lasers",
    "tiles and paints": "/tiles-and-paints",
    "painting lots": "/lots",
    "orders": "/orders",
    "order": "/orders/3",
    "order, new": "/orders/new",
    "machines": "/machines",
    "machine": "/machine",
    "machine, wiring": "/machine/wiring",
    "machine, settings": "/machine/settings",
    "storage": "/storage",
    "practice": "/practice",
    "phones": "/phones",
    "pair": "/pair",
    "error": "/nowhere",
}
JUDGED = {"id": 1, "verdict": "banded", "cause": "dirty lens", "note": "rows 300 on", "photo": "",
          "at_utc": "2026-11-25T18:00:00Z", "who": "Ann’s phone"}  # fmt: skip


def test_every_view_is_there_to_look_at(tmp_path):
    pictures = tmp_path / "views"
    options = {"open_to_loopback": True, "machine": lambda *_, **__: None}
    with served_page(tmp_path, **options) as served, browser() as chromium:
        phones = phones_of(chromium)
        take_watch(phones, served, pictures)
        served.daemon.answers["run"] = judged
        for name, path in VIEWS.items():
            if name.endswith("nothing found"):
                served.daemon.answers["runs"] = {"runs": [], "next_before": None, "notes": []}
            take(phones, served.url + path, pictures, name)
            served.daemon.answers["runs"] = LOGBOOK["runs"]
        take_fleet(phones, served, pictures)
        served.daemon.answers |= craft(batch="the next box")
        draft = draft_to_proof(served.app, ASTRONAUT, width_mm=80, height_mm=100)
        for step in ("", "/tile", "/cut", "/look", "/proof"):
            address = served.url + (draft + step if step else "/new")
            take(phones, address, pictures, f"new picture, {step.strip('/') or 'photo'}")
    print(f"\n{len(list(pictures.iterdir()))} pictures in {pictures}")


def take_watch(phones, served, pictures):
    for state in STATES:
        served.daemon.tell(state, time_factor=20)
        take(phones, served.url, pictures, f"watch, {state}")
    served.daemon.tell("armed", asked_at_start=ASKED)
    take(phones, served.url, pictures, "watch, armed for a long run")
    served.daemon.tell("etching", interlocks=box(is_round_asking=True), may=["answer_round"])
    take(phones, served.url, pictures, "watch, asking")
    served.daemon.go_away()
    take(phones, served.url, pictures, "watch, away")
    served.daemon.come_back()


def take_fleet(phones, served, pictures):
    with fleet_on(served.app, FakeWatcher()) as watcher:
        take(phones, served.url + "/fleet", pictures, "all boxes")
        watcher.trouble = "The connection to the broker at 192.168.0.10 is lost."
        take(phones, served.url + "/fleet", pictures, "all boxes, broker away")


ASKED = {
    "long_run": "This runs for 41 minutes and nothing here notices a fire.",
    "stays": (
        "This would end at 19:10 and its last look come at 19:40, after closing time at 18:30."
    ),
}


def judged(**params):
    run = answer_run(**params)
    return run | ({"verdicts": [JUDGED], "verdict": "banded"} if params["id"] == 6 else {})


def phones_of(chromium):
    """Return a page for each width and scheme, by the words that name its pictures."""
    return {
        f"{width_px} px, {scheme}": chromium.new_context(
            **phone_options(width_px, scheme)
        ).new_page()
        for scheme in SCHEMES
        for width_px in WIDTHS_PX
    }


def take(phones, url, folder, name):
    for words, page in phones.items():
        page.goto(url, wait_until="load")
        page.screenshot(path=folder / f"{name}, {words}.png", full_page=True, animations="disabled")
