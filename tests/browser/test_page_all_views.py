"""Every view of the page fits a narrow phone, large letters and a phone on its side.

WCAG 2.2: 1.4.10 Reflow (320 px), 1.4.4 Resize Text (200 %), 1.3.4 Orientation.
"""

import re

import pytest
from PIL import Image
from werkzeug.exceptions import HTTPException

from etchweb.previews.store import path_name
from support.fakes.catalogue_answers import craft
from support.fakes.fake_daemon import LID_TRIP, SHA256, STATES, box
from support.harnesses.page_bench import violations
from support.harnesses.picture_bench import draft_to_proof
from support.samples.photo_files import PHOTOGRAPHS

ASTRONAUT = next(path for name, path, _ in PHOTOGRAPHS if name == "astronaut")
PHONES = {
    "320 px": {"width_px": 320},
    "large letters": {"width_px": 412},
    "on its side": {"viewport": {"width": 820, "height": 360}},
}
LARGE_LETTERS = "document.documentElement.style.fontSize = '200%'"
FIRE = {**LID_TRIP, "name": "no flame or smoke", "reaction": "emergency"}
VIEWS = (
    "/logbook", "/logbook?verdict=good", "/logbook/7", "/logbook/6", "/logbook/6/take-up-again",
    "/machine", "/machine/wiring", "/machine/settings", "/machines", "/phones", "/pair",
    "/practice", "/test-tiles", "/test-tiles/new", "/lots", "/lasers", "/tiles-and-paints",
    f"/head-path/{SHA256}", "/orders", "/orders/new", "/orders/costs", "/orders/list", "/orders/3",
    "/bench", "/bench/jig", "/storage", "/nowhere",
)  # fmt: skip
STEPS = ("/new", "DRAFT/tile", "DRAFT/cut", "DRAFT/look", "DRAFT/design", "DRAFT/proof")
# Answers without a page of their own, and pages that other tests bring into being.
NO_VIEWS = re.compile(
    r"static|watch\.(poll|stream)|machine\.poll|pictures\.show|verdicts\.photo|logbook\.table"
    r"|practice\.photograph|orders\.books|bench\.(lay|make|change_loaded)|new_picture\.(go_on|work|picture)|cards\.(?!show$|new$)\w+|fleet\.\w+"
)


@pytest.fixture
def draft(served):
    served.daemon.answers |= craft()
    Image.new("RGB", (1840, 1260)).save(
        served.app.extensions["etchweb"].pictures / path_name(SHA256)
    )
    return draft_to_proof(served.app, ASTRONAUT, width_mm=80, height_mm=100)


def overflowing(phone, url, name):
    """Return in words what is wrong with the view at `url`, such as how much too wide it is."""
    answer = phone.goto(url, wait_until="load")
    if not answer.ok and not url.endswith("/nowhere"):
        return f"{url}: answers {answer.status}"
    if name == "large letters":
        phone.evaluate(LARGE_LETTERS)
    wide = phone.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    return f"{url}: {wide} px too wide" if wide > 0 else ""


@pytest.mark.parametrize("name", PHONES)
def test_no_view_is_wider_than_the_phone(open_phone, served, draft, name):
    phone = open_phone("/nowhere", **PHONES[name])
    found = [
        overflowing(phone, served.url + path.replace("DRAFT", draft), name)
        for path in (*VIEWS, *STEPS)
    ]
    for state in STATES:
        served.daemon.tell(state)
        found.append(overflowing(phone, f"{served.url}/?{state}", name))
    served.daemon.tell("tripped", interlocks=box(trips=[FIRE]))
    found.append(overflowing(phone, f"{served.url}/?fire", name))

    assert list(filter(None, found)) == []


def test_no_view_shuts_anybody_out(open_phone, served, draft, axe):
    # WCAG 2.2 AA by axe, in both schemes, with everything unfolded.
    phone = open_phone("/nowhere")
    found = []
    for path in (*VIEWS, *STEPS):
        phone.goto(served.url + path.replace("DRAFT", draft), wait_until="load")
        phone.evaluate("document.querySelectorAll('details').forEach(one => (one.open = true))")
        found += [f"{path}: {fault}" for fault in violations(phone, axe)]

    assert found == []


def test_no_view_is_left_out(served):
    addresses = served.app.url_map.bind("localhost")
    visited = {endpoint_of(addresses, path.replace("DRAFT", "/new/x")) for path in (*VIEWS, *STEPS)}

    pages = {
        rule.endpoint
        for rule in served.app.url_map.iter_rules()
        if "GET" in rule.methods and not NO_VIEWS.match(rule.endpoint)
    }

    assert pages - visited - {"watch.show"} == set()


def endpoint_of(addresses, path):
    """Return the endpoint of an address; nothing where there is none."""
    try:
        return addresses.match(path.split("?")[0], method="GET")[0]
    except HTTPException:
        return ""
